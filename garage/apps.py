from typing import Any

from django.apps import AppConfig
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.models.signals import post_migrate


def install_database_objects(*, sender: AppConfig, using: str, plan: Any = (), **kwargs: Any) -> None:
    """After every migrate: the triggers and the search index (database.py), the files applied (schema.py)."""
    from garage import database, schema  # noqa: PLC0415 (models are not ready when this module is read)

    database.install(connections[using])
    schema.record(connections[using], sender.label, plan)


class GarageConfig(AppConfig):
    name = "garage"
    verbose_name = "Garage"

    def ready(self) -> None:
        from garage import checks, promises_kernel, search, sqlite  # noqa: PLC0415 (as above)

        sqlite.answer_for_json(connections[DEFAULT_DB_ALIAS])
        checks.register()
        promises_kernel.register()
        search.register("customer", "customer", "customer")
        search.register("vehicle", "vehicle", "vehicle")
        post_migrate.connect(install_database_objects, dispatch_uid="garage.database")
