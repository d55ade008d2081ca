"""`manage.py migrate`: Django's own, one process at a time."""

from typing import Any

from django.conf import settings
from django.core.checks.registry import registry
from django.core.management.commands import migrate

from garage.checks import GUARDS
from garage.firststart import alone


class Command(migrate.Command):
    def get_check_kwargs(self, options: Any) -> Any:
        """Missing triggers are no reason to stop: this is what puts them back, also after a first start broken off."""
        return {**super().get_check_kwargs(options), "tags": registry.tags_available() - {GUARDS}}

    def execute(self, *args: Any, **options: Any) -> str | None:
        with alone(settings.DATA_DIR):  # two in a new database at once would both create its tables
            return super().execute(*args, **options)
