"""The outbox, against a real SMTP server: sent once, retried when safe, held for a person when it cannot be known."""

import datetime as dt
import email
import smtplib
import socket
from collections.abc import Iterator
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from django.db import transaction
from pytest_django import Settings

from garage import documents, files, mail
from garage.clock import fixed
from garage.errors import Refused
from garage.models import Document, OutgoingMail, ShopProfile, StoredFile, User

State = OutgoingMail.State


class Sink:
    """Keeps what arrives; answers as it is told."""

    def __init__(self) -> None:
        self.received: list[bytes] = []
        self.recipient_answer = "250 OK"
        self.data_answer = "250 OK"

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:
        if self.recipient_answer.startswith("250"):
            envelope.rcpt_tos.append(address)
        return self.recipient_answer

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        if self.data_answer.startswith("250"):
            self.received.append(envelope.original_content)
        return self.data_answer


@pytest.fixture
def sink(settings: Settings) -> Iterator[Sink]:
    handler = Sink()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    controller = Controller(handler, hostname="127.0.0.1", port=port)
    controller.start()
    settings.SMTP = {"host": "127.0.0.1", "port": port, "user": "", "password": "", "security": "none"}
    yield handler
    controller.stop()


@pytest.fixture
def letter(shop: ShopProfile, now: dt.datetime) -> OutgoingMail:
    """A queued message with one finished document."""
    pdf = files.store_bytes(
        StoredFile.Kind.DOCUMENT, "Invoice 1.pdf", "application/pdf", b"%PDF-1.7 body", actor=None, clock=fixed(now)
    )
    document = documents.want("test", 1, name="Invoice 1.pdf", clock=fixed(now))
    document.state, document.stored, document.sha256 = Document.State.MADE, pdf, pdf.sha256
    document.save()
    return enqueue(now, [document])


def enqueue(now: dt.datetime, attachments: list[Document], **changed: Any) -> OutgoingMail:
    fields = {
        "purpose": "invoice",
        "source": 1,
        "to": "odile@example.com",
        "to_name": "Odile Marrant",
        "subject": "Invoice 1",
        "text": "Dear customer,\n.a line that begins with a dot\nå",
    }
    return mail.enqueue(**{**fields, **changed}, attachments=attachments, actor=None, clock=fixed(now))


def test_a_message_arrives_whole_with_its_pdf(sink: Sink, letter: OutgoingMail, now: dt.datetime) -> None:
    assert mail.send_due(now=now) == 1
    letter.refresh_from_db()
    assert (letter.state, letter.sent_at) == (State.SENT, now)
    [raw] = sink.received
    message = email.message_from_bytes(raw, policy=email.policy.default)
    assert message["Message-ID"] == letter.message_id
    assert message["To"] == "Odile Marrant <odile@example.com>"
    body = message.get_body()
    assert body is not None
    assert body.get_content().replace("\r\n", "\n") == "Dear customer,\n.a line that begins with a dot\nå\n"
    [attachment] = message.iter_attachments()
    assert attachment.get_filename() == "Invoice 1.pdf"
    assert attachment.get_content() == b"%PDF-1.7 body"
    assert letter.as_sent is not None
    assert letter.as_sent.file.read().rstrip() == raw.rstrip()


def test_it_is_sent_once_however_often_it_is_asked_for(sink: Sink, letter: OutgoingMail, now: dt.datetime) -> None:
    assert enqueue(now, []).pk == letter.pk
    mail.send_due(now=now)
    mail.send_due(now=now + dt.timedelta(hours=1))
    assert len(sink.received) == 1


def test_a_rolled_back_act_sends_nothing(sink: Sink, shop: ShopProfile, now: dt.datetime) -> None:
    with transaction.atomic():
        enqueue(now, [])
        transaction.set_rollback(True)
    assert mail.send_due(now=now) == 0
    assert sink.received == []


def test_it_waits_for_its_document(sink: Sink, letter: OutgoingMail, now: dt.datetime) -> None:
    Document.objects.update(state=Document.State.WANTED)
    assert mail.send_due(now=now) == 0
    Document.objects.update(state=Document.State.MADE)
    assert mail.send_due(now=now) == 1


def test_a_refusal_for_now_is_tried_again_later(sink: Sink, letter: OutgoingMail, now: dt.datetime) -> None:
    sink.data_answer = "451 try later"
    mail.send_due(now=now)
    letter.refresh_from_db()
    assert (letter.state, letter.next_try > now) == (State.QUEUED, True)
    assert letter.problem == "The mail server answered 451: try later"
    assert mail.send_due(now=now) == 0, "not before its time"
    sink.data_answer = "250 OK"
    mail.send_due(now=letter.next_try)
    assert len(sink.received) == 1


def test_a_final_refusal_is_shown_and_can_be_sent_again(
    sink: Sink, letter: OutgoingMail, people: dict[str, User], now: dt.datetime
) -> None:
    sink.recipient_answer = "550 no such user"
    mail.send_due(now=now)
    letter.refresh_from_db()
    assert (letter.state, letter.problem) == (State.FAILED, "The mail server answered 550: no such user")
    sink.recipient_answer = "250 OK"
    mail.send_again(mail=letter, actor=people["counter"], clock=fixed(now))
    mail.send_due(now=now)
    assert len(sink.received) == 1


def test_it_gives_up_after_a_day(sink: Sink, letter: OutgoingMail, now: dt.datetime) -> None:
    sink.data_answer = "451 try later"
    mail.send_due(now=now + dt.timedelta(hours=25))
    letter.refresh_from_db()
    assert letter.state == State.FAILED


def test_a_message_whose_pdf_is_gone_is_shown_and_does_not_stop_the_others(
    sink: Sink, letter: OutgoingMail, now: dt.datetime
) -> None:
    stored = letter.attachments.get().stored
    assert stored is not None
    stored.file.delete(save=False)
    other = enqueue(now, [], source=2, subject="Invoice 2")
    assert mail.send_due(now=now) == 2
    letter.refresh_from_db()
    other.refresh_from_db()
    assert (letter.state, other.state) == (State.FAILED, State.SENT)
    assert letter.problem.startswith("The message could not be put together")


def test_an_address_a_mail_server_does_not_take_is_shown(sink: Sink, shop: ShopProfile, now: dt.datetime) -> None:
    row = enqueue(now, [], to="odile@garagé.example")
    mail.send_due(now=now)
    row.refresh_from_db()
    assert row.state == State.FAILED
    assert "xn--" in row.problem


def test_a_line_that_breaks_after_the_content_leaves_it_to_a_person(
    sink: Sink, letter: OutgoingMail, people: dict[str, User], now: dt.datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = smtplib.SMTP.getreply

    def break_after_content(server: smtplib.SMTP) -> Any:
        if OutgoingMail.objects.filter(state=State.HANDED).exists():
            raise ConnectionResetError("line broken")
        return answer(server)

    monkeypatch.setattr(smtplib.SMTP, "getreply", break_after_content)
    mail.send_due(now=now)
    letter.refresh_from_db()
    assert letter.state == State.UNCERTAIN
    assert mail.send_due(now=now + dt.timedelta(days=1)) == 0, "never sent again by itself"
    mail.it_arrived(mail=letter, actor=people["counter"], clock=fixed(now))
    assert letter.state == State.SENT


@pytest.mark.parametrize(("left", "becomes"), [(State.SENDING, State.SENT), (State.HANDED, State.UNCERTAIN)])
def test_what_a_killed_worker_left_is_settled(
    sink: Sink, letter: OutgoingMail, now: dt.datetime, left: str, becomes: str
) -> None:
    OutgoingMail.objects.update(state=left, lease_until=now - dt.timedelta(seconds=1))
    mail.send_due(now=now)
    letter.refresh_from_db()
    assert letter.state == becomes


@pytest.mark.parametrize(("left", "becomes"), [(State.SENDING, State.SENT), (State.QUEUED, State.SENT)])
def test_what_was_put_off_while_the_clock_was_ahead_is_sent_once_it_is_right(
    sink: Sink, letter: OutgoingMail, now: dt.datetime, left: str, becomes: str
) -> None:
    """A wrong day breaks the mail server's certificate: the next try was a month away when the clock was right."""
    ahead = now + dt.timedelta(days=29)
    OutgoingMail.objects.update(state=left, queued_at=ahead, next_try=ahead + mail.LEASE)
    OutgoingMail.objects.filter(state=State.SENDING).update(lease_until=ahead + mail.LEASE)
    assert mail.send_due(now=now) == 1
    letter.refresh_from_db()
    assert letter.state == becomes


def test_without_a_server_it_waits_and_can_be_saved(
    letter: OutgoingMail, login: Any, now: dt.datetime, settings: Settings
) -> None:
    settings.SMTP = {**settings.SMTP, "host": ""}
    assert mail.send_due(now=now) == 0
    client = login("counter")
    page = client.get("/mail/").content.decode()
    assert "Mail waits here and nothing is lost" in page
    saved = client.get(f"/mail/{letter.pk}/message.eml")
    assert email.message_from_bytes(saved.content)["Subject"] == "Invoice 1"


@pytest.mark.parametrize("field", ["to", "to_name", "subject", "reply_to"])
def test_a_header_cannot_be_smuggled_in(shop: ShopProfile, now: dt.datetime, field: str) -> None:
    with pytest.raises(Refused, match="line break"):
        enqueue(now, [], **{field: "x\r\nBcc: all@example.com"})
    assert not OutgoingMail.objects.exists()


def test_a_technician_does_not_read_mail(login: Any, letter: OutgoingMail) -> None:
    assert login("technician").get("/mail/").status_code == 403
    assert login("reader").get("/mail/").status_code == 200
    assert login("reader").post(f"/mail/{letter.pk}/again/").status_code == 403
