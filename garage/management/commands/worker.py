"""`manage.py worker`: the one process that makes the documents and sends the mail."""

import logging
import signal
import time
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db import OperationalError, close_old_connections
from django.utils import timezone

from garage import dates, documents, heads, mail, shop
from garage.money import spoken_in

log = logging.getLogger("sumpbook.worker")

#: Seconds between two times that the heads of the chains are kept outside the database.
KEEP_HEADS_EVERY = 300.0


class Command(BaseCommand):
    help = "Makes the documents and sends the mail that the program asks for, until it is stopped."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--once", action="store_true", help="do what is due and stop")
        parser.add_argument("--pause", type=float, default=0.3, help="seconds to rest when nothing is due")

    def handle(self, *args: Any, **options: Any) -> None:
        self.stopping = False
        self.heads_due = 0.0
        for sign in (signal.SIGTERM, signal.SIGINT):
            signal.signal(sign, self._stop)
        printer = documents.Printer()
        try:
            while not self.stopping:
                if not self._round(printer) and not options["once"]:
                    time.sleep(options["pause"])
                elif options["once"] and not self._round(printer):
                    break
        finally:
            printer.close()

    def _round(self, printer: documents.Printer) -> int:
        """Do what is due; a database that is busy or away is met with patience."""
        try:
            close_old_connections()
            self._keep_heads()
            profile = shop.profile()
            with dates.speaking(profile.locale), spoken_in(profile.currency):
                made = documents.make_wanted(printer, now=timezone.now())
                return made + mail.send_due(now=timezone.now())
        except OperationalError:
            log.exception("the database did not answer; trying again in a moment")
            time.sleep(1)
            return 0

    def _keep_heads(self) -> None:
        if time.monotonic() >= self.heads_due:
            heads.keep()
            self.heads_due = time.monotonic() + KEEP_HEADS_EVERY

    def _stop(self, *args: Any) -> None:
        self.stopping = True
