"""`manage.py migrate`: Django's own, one process at a time."""

from typing import Any

from django.conf import settings
from django.core.management.commands import migrate

from garage.firststart import alone


class Command(migrate.Command):
    def handle(self, *args: Any, **options: Any) -> None:
        with alone(settings.DATA_DIR):  # two in a new database at once would both create its tables
            super().handle(*args, **options)
