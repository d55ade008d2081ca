"""Erased files and mail: their bytes and names are gone, their hashes stay, the promises hold and pages say so."""

import datetime as dt
import io
from collections.abc import Callable
from pathlib import Path

import pytest
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse
from PIL import Image

from garage import documents, files, mail, promises, promises_kernel
from garage.actions.customers import save_customer
from garage.actions.erasing import erase_file, erase_mail
from garage.clock import fixed
from garage.errors import Refused
from garage.models import AuditEntry, Customer, Document, OutgoingMail, ShopProfile, StoredFile, User

Login = Callable[[str], Client]
YEARS = dt.timedelta(days=366)


def stored(kind: str, now: dt.datetime, name: str = "odile.jpg") -> StoredFile:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), (200, 40, 20)).save(out, "JPEG")
    return files.store_bytes(kind, name, "image/jpeg", out.getvalue(), actor=None, clock=fixed(now))


@pytest.fixture
def photo(db: None, now: dt.datetime) -> StoredFile:
    return stored(StoredFile.Kind.PHOTO, now)


@pytest.fixture
def paper(shop: ShopProfile, now: dt.datetime) -> Document:
    """A paper that was made."""
    document = documents.want("invoice", 7, name="Invoice 2026-0007.pdf", clock=fixed(now))
    made = stored(StoredFile.Kind.DOCUMENT, now, "Invoice 2026-0007.pdf")
    document.state, document.stored, document.sha256 = Document.State.MADE, made, made.sha256
    document.save()
    return document


@pytest.fixture
def letter(paper: Document, now: dt.datetime) -> OutgoingMail:
    """A message that was sent with the paper."""
    row = enqueue(paper, now)
    row.as_sent = stored(StoredFile.Kind.MESSAGE, now, f"{row.subject}.eml")
    row.state, row.sent_at = OutgoingMail.State.SENT, now
    row.save()
    return row


def enqueue(paper: Document, now: dt.datetime) -> OutgoingMail:
    return mail.enqueue(
        purpose="invoice", source=7, to="odile@example.com", to_name="Odile Marrant", subject="Invoice for Odile",
        text="Dear Odile Marrant", attachments=[paper], actor=None, clock=fixed(now),
    )  # fmt: skip


def erase(row: StoredFile, now: dt.datetime) -> None:
    """Erase a file as an act of its own: its bytes go when the act is through."""
    erase_file(stored=row, actor=None, clock=fixed(now))


def breaches() -> list[str]:
    return [sentence for _, sentences in promises.run() for sentence in sentences]


@pytest.mark.django_db(transaction=True)
def test_an_erased_photo_keeps_its_hash_alone(photo: StoredFile, now: dt.datetime) -> None:
    path, sha256 = Path(photo.file.path), photo.sha256
    with transaction.atomic():
        erase(photo, now)
        transaction.set_rollback(True)
    assert path.exists()  # an act that fails takes no bytes with it
    erase(photo, now)
    photo.refresh_from_db()
    assert not path.exists() and (photo.sha256, photo.name, photo.erased_at) == (sha256, "erased", now)
    assert breaches() == []
    assert "odile" not in str(AuditEntry.objects.get(verb="erased").told)


@pytest.mark.django_db(transaction=True)
def test_bytes_left_behind_are_found_and_go_with_a_second_erasing(photo: StoredFile, now: dt.datetime) -> None:
    erase(photo, now)
    Path(photo.file.path).write_bytes(b"left")
    assert breaches() == [
        f"photo {photo.pk} (erased): it was erased, but its bytes are still on the disk: erase it again"
    ]
    erase(photo, now)
    assert breaches() == [] and AuditEntry.objects.filter(verb="erased").count() == 1


@pytest.mark.parametrize("kind", ["photo", "message", "logo"])
def test_a_byte_changed_in_a_photo_or_a_sent_mail_is_found(shop: ShopProfile, now: dt.datetime, kind: str) -> None:
    row = stored(kind, now)
    assert breaches() == []
    path = Path(row.file.path)
    path.chmod(0o600)
    path.write_bytes(path.read_bytes()[:-1] + b"?")
    assert len(breaches()) == 1 and "its bytes changed" in breaches()[0]
    path.unlink()
    assert len(breaches()) == 1 and "its file is gone" in breaches()[0]


def test_a_row_marked_erased_behind_the_programs_back_is_found(photo: StoredFile, now: dt.datetime) -> None:
    Path(photo.file.path).unlink()
    StoredFile.objects.update(erased_at=now)
    assert breaches() == [f"stored file {photo.pk}: it was erased, and no entry says by whom: restore a backup"]


def test_a_photo_page_and_its_address_say_that_it_is_erased(photo: StoredFile, login: Login, now: dt.datetime) -> None:
    erase(photo, now)
    answer = login("technician").get(reverse("photo", args=[photo.pk]))
    assert answer.status_code == 410 and "was erased on Mar 2, 2026" in answer.content.decode()


@pytest.mark.django_db(transaction=True)
def test_papers_are_kept_for_the_record_years_and_then_erased(
    paper: Document, letter: OutgoingMail, login: Login, now: dt.datetime
) -> None:
    assert paper.stored is not None
    with pytest.raises(Refused, match="kept for 7 years"):
        erase(paper.stored, now + 6 * YEARS)
    erase(paper.stored, now + 8 * YEARS)
    paper.refresh_from_db()
    assert paper.state == Document.State.ERASED and breaches() == []
    page = login("reader").get(reverse("document", args=[paper.pk])).content.decode()
    assert "The bytes of this paper were erased on" in page
    page = login("reader").get(reverse("mail")).content.decode()
    assert "Invoice 2026-0007.pdf (erased)" in page and reverse("document", args=[paper.pk]) not in page
    answer = login("reader").get(reverse("mail-file", args=[letter.pk]), follow=True)
    assert "was erased after the record years" in answer.content.decode()
    OutgoingMail.objects.update(state=OutgoingMail.State.FAILED)
    with pytest.raises(Refused, match="can no longer be sent"):
        mail.send_again(mail=letter, actor=User.objects.all()[0], clock=fixed(now))
    with pytest.raises(Refused, match="can no longer be sent"):
        enqueue(paper, now)


@pytest.mark.django_db(transaction=True)
def test_a_sent_mail_is_erased_with_its_file(letter: OutgoingMail, login: Login, now: dt.datetime) -> None:
    assert letter.as_sent is not None
    path = Path(letter.as_sent.file.path)
    with pytest.raises(Refused, match="kept for 7 years"):
        erase_mail(mail=letter, actor=None, clock=fixed(now + 6 * YEARS))
    erase_mail(mail=letter, actor=None, clock=fixed(now + 8 * YEARS))
    letter.refresh_from_db()
    assert not path.exists()
    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM garage_outgoingmail")
        row = str(cursor.fetchall())
    assert "Odile" not in row and "odile" not in row and letter.sent_at == now
    assert breaches() == []
    page = login("counter").get(reverse("mail")).content.decode()
    assert "erased" in page and reverse("mail-file", args=[letter.pk]) not in page
    with pytest.raises(Refused, match="already sent"):
        mail.send_again(mail=letter, actor=User.objects.all()[0], clock=fixed(now))


def test_nothing_that_is_still_needed_is_erased(
    paper: Document, photo: StoredFile, shop: ShopProfile, now: dt.datetime
) -> None:
    waiting = enqueue(paper, now)
    late = now + 8 * YEARS
    assert paper.stored is not None
    with pytest.raises(Refused, match="A mail that waits"):
        erase(paper.stored, late)
    with pytest.raises(Refused, match="may still go out"):
        erase_mail(mail=waiting, actor=None, clock=fixed(late))
    shop.logo = photo
    shop.save()
    with pytest.raises(Refused, match="logo on papers"):
        erase(photo, late)


def test_words_changed_beside_an_audit_entry_are_found(
    odile: Customer, people: dict[str, User], now: dt.datetime
) -> None:
    save_customer(
        actor=people["owner"], clock=fixed(now), customer=odile, fields={"name": "Odile Holt"}, phones=[], emails=[]
    )
    side = AuditEntry.objects.get(verb="changed customer").side
    assert side is not None and list(promises_kernel.side_rows_hold()) == []
    side.data["personal"]["changed"]["name"][0] = "Somebody Else"
    side.save()
    assert [sentence.partition(": ")[2] for sentence in promises_kernel.side_rows_hold()] == [
        "the names or words beside it were changed behind it"
    ]
