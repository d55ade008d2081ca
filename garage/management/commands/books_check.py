"""`manage.py books_check`: verify every promise the data makes."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from garage import heads, promises
from garage.reading import one_moment


class Command(BaseCommand):
    help = "Verifies every promise of the data and names each breach; exit 0 only if all hold."

    def handle(self, *args: Any, **options: Any) -> None:
        kept = heads.read()  # before the rows: what is kept meanwhile is not in what is read below
        with one_moment():
            broken = sum(self._say(name, breaches) for name, breaches in promises.run())
            broken += self._say(heads.PROMISE, list(heads.missing(kept)))
        if kept.trouble:
            self.stdout.write(f"note    {kept.trouble}")
        if broken:
            raise CommandError(f"{broken} breaches found. Restore a backup, or have them looked at before going on.")
        self.stdout.write(f"All {len(promises.names()) + 1} promises hold.")
        heads.keep()

    def _say(self, name: str, breaches: list[str]) -> int:
        """Write what became of one promise; give the number of its breaches."""
        self.stdout.write(f"{'holds ' if not breaches else 'BROKEN'}  {name}")
        for sentence in breaches:
            self.stdout.write(f"        {sentence}")
        return len(breaches)
