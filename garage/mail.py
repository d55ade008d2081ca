"""Outgoing mail: a transactional outbox and the one worker that empties it.

The row is written in the business transaction, so nothing is sent for an act that was rolled back, and a double
click queues one message (unique by purpose, source, version). The worker leases a row, talks to the server, and
marks it *handed* before the content goes out. A crash while *sending* is retried; a crash while *handed* leaves it
open whether the message arrived, and a person is asked: exactly-once over SMTP is impossible, so it is never
guessed. Without SMTP settings the mail waits, can be seen and downloaded, and says so.
"""

import datetime as dt
import email.errors
import email.policy
import logging
import re
import smtplib
import ssl
from collections.abc import Iterable
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime, make_msgid
from urllib.parse import urlsplit

from django.conf import settings
from django.db.models import Q

from garage import audit, documents, files, shop
from garage.clock import Clock, fixed, has_come
from garage.errors import Refused
from garage.models import Document, OutgoingMail, StoredFile, User
from garage.texts import shortened
from garage.writing import writing

log = logging.getLogger("sumpbook.mail")

State = OutgoingMail.State
LEASE = dt.timedelta(minutes=2)
LONGEST_WAIT = dt.timedelta(minutes=10)
GIVE_UP_AFTER = dt.timedelta(hours=24)
TIMEOUT = 30


def is_set_up() -> bool:
    """Say whether there is a server to send through."""
    return bool(settings.SMTP["host"])


def sender() -> str:
    """The address mail comes from: MAIL_FROM, else the shop's own."""
    return settings.MAIL_FROM or shop.profile().email


@writing()
def enqueue(
    *,
    purpose: str,
    source: int,
    version: int = 1,
    to: str,
    to_name: str = "",
    subject: str,
    text: str,
    attachments: list[Document],
    reply_to: str = "",
    actor: User | None,
    clock: Clock,
) -> OutgoingMail:
    """Put a message into the outbox, inside the business transaction; the same purpose, source and version
    again gives the row that is there. Raises Refused for a line break in an address or the subject."""
    now = clock()
    for value, field in ((to, "to"), (to_name, "to_name"), (subject, "subject"), (reply_to, "reply_to")):
        if re.search(r"[\r\n\0]", value):
            raise Refused("An address or a subject cannot have a line break.", field)
    _not_erased(attachments)
    domain = urlsplit(settings.BASE_URL).hostname or "localhost"
    mail, created = OutgoingMail.objects.get_or_create(
        purpose=purpose,
        source=source,
        version=version,
        defaults={
            "to": to,
            "to_name": to_name,
            "reply_to": reply_to,
            "subject": subject,
            "text": text,
            "message_id": make_msgid(domain=domain),
            "next_try": now,
            "queued_at": now,
            "by": actor,
        },
    )
    if created:
        mail.attachments.set([documents.ask_for(document) for document in attachments])
    return mail


def _not_erased(attachments: Iterable[Document]) -> None:
    """Refuse to send a paper whose bytes are gone."""
    for document in attachments:
        if document.state == Document.State.ERASED:
            raise Refused(f"{document.name} was erased after the record years: it can no longer be sent.")


def message_of(mail: OutgoingMail) -> EmailMessage:
    """The message as it will be sent, with its PDFs; the documents must have been made."""
    message = EmailMessage(policy=email.policy.SMTP)
    garage = shop.profile()
    message["Subject"] = mail.subject
    message["From"] = Address(display_name=garage.name, addr_spec=sender() or "garage@localhost")
    message["To"] = Address(display_name=mail.to_name, addr_spec=mail.to)
    if mail.reply_to:
        message["Reply-To"] = mail.reply_to
    message["Date"] = format_datetime(mail.queued_at)
    message["Message-ID"] = mail.message_id
    message.set_content(mail.text)
    for document in mail.attachments.select_related("stored"):
        if document.stored is not None:
            with document.stored.file.open("rb") as file:
                message.add_attachment(file.read(), maintype="application", subtype="pdf", filename=document.name)
    return message


def send_due(*, now: dt.datetime, limit: int = 50) -> int:
    """Send what is due and whose documents are ready; return how many were tried. Nothing without a server."""
    if not is_set_up():
        return 0
    _settle_interrupted(now)
    tried = 0
    while tried < limit and (mail := _claim(now)) is not None:
        tried += 1
        _send(mail, now=now)
    return tried


@writing()
def _settle_interrupted(now: dt.datetime) -> None:
    """What a killed worker left behind: safe to retry before the content went out, a person's question after."""
    expired = OutgoingMail.objects.filter(has_come("lease_until", now, LEASE))
    expired.filter(state=State.SENDING).update(state=State.QUEUED, lease_until=None)
    expired.filter(state=State.HANDED).update(
        state=State.UNCERTAIN,
        lease_until=None,
        problem="The program stopped while the message was on its way. Ask the customer whether it arrived.",
    )


@writing()
def _claim(now: dt.datetime) -> OutgoingMail | None:
    due = OutgoingMail.objects.filter(has_come("next_try", now, LONGEST_WAIT), state=State.QUEUED)
    unmade = Document.objects.filter(~Q(state=Document.State.MADE))
    mail = due.exclude(attachments__in=unmade).order_by("next_try", "pk").first()
    if mail is not None:
        mail.state, mail.lease_until, mail.attempts = State.SENDING, now + LEASE, mail.attempts + 1
        mail.save(update_fields=["state", "lease_until", "attempts"])
    return mail


def _send(mail: OutgoingMail, *, now: dt.datetime) -> None:
    try:
        data = message_of(mail).as_bytes()
    except (OSError, ValueError, LookupError, email.errors.MessageError) as error:
        # A PDF that is gone or an address nobody can write to: it must not keep the worker from the others.
        _not_sent(mail, f"The message could not be put together: {error}", permanent=True, clock=fixed(now))
        return
    handed = False
    try:
        with _connected() as server:
            server.ehlo_or_helo_if_needed()
            _must(server.mail(sender()), 250)
            _must(server.rcpt(mail.to), 250, 251)
            _must(server.docmd("DATA"), 354)
            handed = True
            _mark_handed(mail, data, clock=fixed(now))
            server.send(re.sub(rb"(?m)^\.", b"..", data).removesuffix(b"\r\n") + b"\r\n.\r\n")
            _must(server.getreply(), 250)
            _sent(mail, clock=fixed(now))
    except smtplib.SMTPResponseException as error:
        _not_sent(mail, _words(error), permanent=error.smtp_code >= 500, clock=fixed(now))
    except UnicodeError:
        said = "The address has letters that a mail server does not take: write its domain as xn--…"
        _not_sent(mail, said, permanent=True, clock=fixed(now))
    except (OSError, smtplib.SMTPException) as error:
        if mail.state == State.SENT:
            return  # the server took it and then closed the line badly
        if handed:
            _uncertain(mail, str(error))
        else:
            _not_sent(mail, f"The mail server could not be reached: {error}", permanent=False, clock=fixed(now))


def _connected() -> smtplib.SMTP:
    smtp = settings.SMTP
    tls = ssl.create_default_context()
    server: smtplib.SMTP
    if smtp["security"] == "tls":
        server = smtplib.SMTP_SSL(smtp["host"], smtp["port"], timeout=TIMEOUT, context=tls)
    else:
        server = smtplib.SMTP(smtp["host"], smtp["port"], timeout=TIMEOUT)
    if smtp["security"] == "starttls":
        server.starttls(context=tls)
    if smtp["user"]:
        server.login(smtp["user"], smtp["password"])
    return server


def _must(reply: tuple[int, bytes], *wanted: int) -> None:
    if reply[0] not in wanted:
        raise smtplib.SMTPResponseException(*reply)


def _words(error: smtplib.SMTPResponseException) -> str:
    text = error.smtp_error.decode(errors="replace") if isinstance(error.smtp_error, bytes) else str(error.smtp_error)
    return f"The mail server answered {error.smtp_code}: {text}"


@writing()
def _mark_handed(mail: OutgoingMail, data: bytes, *, clock: Clock) -> None:
    now = clock()
    mail.as_sent = files.store_bytes(
        StoredFile.Kind.MESSAGE, f"{mail.subject}.eml", "message/rfc822", data, actor=None, clock=fixed(now)
    )
    mail.state = State.HANDED
    mail.save(update_fields=["state", "as_sent"])


@writing()
def _sent(mail: OutgoingMail, *, clock: Clock) -> None:
    now = clock()
    mail.state, mail.sent_at, mail.lease_until, mail.problem = State.SENT, now, None, ""
    mail.save(update_fields=["state", "sent_at", "lease_until", "problem"])


@writing()
def _uncertain(mail: OutgoingMail, problem: str) -> None:
    mail.state, mail.lease_until = State.UNCERTAIN, None
    mail.problem = f"The line broke while the message was on its way ({problem}). Ask the customer whether it arrived."
    mail.save(update_fields=["state", "lease_until", "problem"])


@writing()
def _not_sent(mail: OutgoingMail, problem: str, *, permanent: bool, clock: Clock) -> None:
    now = clock()
    log.warning("mail %s not sent: %s", mail.pk, problem)
    mail.lease_until, mail.problem = None, shortened(problem, 2000)
    if permanent or now - mail.queued_at >= GIVE_UP_AFTER:
        mail.state = State.FAILED
    else:
        mail.state = State.QUEUED
        mail.next_try = now + min(dt.timedelta(seconds=2**mail.attempts), LONGEST_WAIT)
    mail.save(update_fields=["state", "lease_until", "problem", "next_try"])


@writing()
def send_again(*, mail: OutgoingMail, actor: User, clock: Clock) -> OutgoingMail:
    """A person decides that a failed or uncertain message goes out (again). Raises Refused in any other state."""
    now = clock()
    mail.refresh_from_db()
    if mail.state not in (State.FAILED, State.UNCERTAIN, State.QUEUED):
        raise Refused("This message is on its way or already sent.")
    if mail.erased_at is not None:
        raise Refused("This message was erased after the record years.")
    _not_erased(mail.attachments.all())
    mail.state, mail.next_try, mail.queued_at, mail.problem = State.QUEUED, now, now, ""
    mail.save(update_fields=["state", "next_try", "queued_at", "problem"])
    audit.record("asked to send again", mail, actor=actor, now=now)
    return mail


@writing()
def it_arrived(*, mail: OutgoingMail, actor: User, clock: Clock) -> OutgoingMail:
    """A person confirms that an uncertain message did arrive. Raises Refused in any other state."""
    now = clock()
    mail.refresh_from_db()
    if mail.state != State.UNCERTAIN:
        raise Refused("Only a message that was perhaps sent can be confirmed.")
    mail.state, mail.sent_at, mail.problem = State.SENT, now, ""
    mail.save(update_fields=["state", "sent_at", "problem"])
    audit.record("confirmed as arrived", mail, actor=actor, now=now)
    return mail
