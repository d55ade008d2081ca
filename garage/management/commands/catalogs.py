"""`manage.py catalogs`: compiles the words of each locale after its .po file was changed."""

from typing import Any

from django.core.management.base import BaseCommand

from garage import catalog


class Command(BaseCommand):
    help = "Compiles locale/*/LC_MESSAGES/django.po, which Django reads compiled."

    def handle(self, *args: Any, **options: Any) -> None:
        for path, content in catalog.catalogs().items():
            path.write_bytes(content)
            self.stdout.write(f"{path.relative_to(catalog.ROOT.parent)}: {len(content)} bytes")
