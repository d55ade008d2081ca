"""`manage.py collectstatic`: Django's own, one process at a time."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.staticfiles.management.commands import collectstatic

from garage.firststart import alone


class Command(collectstatic.Command):
    def handle(self, **options: Any) -> str | None:
        collected = Path(settings.STATIC_ROOT)
        collected.mkdir(parents=True, exist_ok=True)
        with alone(collected):  # two at once would give the same file two names
            return super().handle(**options)
