"""`manage.py send_mail_queue`: send what is due, once."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from garage import mail
from garage.models import OutgoingMail


class Command(BaseCommand):
    help = "Sends the mail that is due, once, and says what is left. The worker does the same all the time."

    def handle(self, *args: Any, **options: Any) -> None:
        if not mail.is_set_up():
            raise CommandError("No mail server is set: give SMTP_HOST (see README.md). The mail stays in the queue.")
        tried = mail.send_due(now=timezone.now(), limit=10_000)
        waiting = OutgoingMail.objects.exclude(state=OutgoingMail.State.SENT).count()
        self.stdout.write(f"{tried} tried, {waiting} not sent yet.")
        if waiting:
            raise CommandError(f"{waiting} messages are still in the queue; the page Mail says why.")
