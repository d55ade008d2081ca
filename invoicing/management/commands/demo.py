"""`manage.py demo`: load the demo garage into an empty database, once."""

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from garage.errors import Refused
from garage.firststart import alone
from invoicing.demo.cast import LOGINS
from invoicing.demo.load import load
from invoicing.demo.ready import make_ready


class Command(BaseCommand):
    help = (
        "Loads the demo garage: three years of invented customers, cars, visits and books, made by the program's own "
        "acts. Brings the database to today's tables first. Into an empty one only; where the demo stands already, "
        "nothing happens; a demo of another version, whose tables differ, is set aside and loaded anew."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--logins", action="store_true", help="only print who can log in, with which password")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["logins"]:
            self.logins()
            return
        try:
            with alone(settings.DATA_DIR):
                make_ready(today=timezone.localdate(), say=self.stdout.write)
                fresh = load(clock=timezone.now, say=self.stdout.write)
        except Refused as error:
            raise CommandError(
                f"{error} Set SUMPBOOK_DATA to an empty directory (or DATABASE_URL to an empty database)."
            ) from None
        if fresh:
            self.stdout.write("The demo garage is loaded.")
            self.logins()
        else:
            self.stdout.write("The demo garage is loaded already.")

    def logins(self) -> None:
        """Print the four logins, a line each."""
        for login in LOGINS:
            self.stdout.write(f"  {login.role:<11} {login.username:<11} {login.password}")
