"""Erasing what is kept of people once the record years are over: the sealed rows, their chains and sums stay whole.

What is erased is gone for good. Each act leaves an audit entry that names the keys, so that `books_check` can tell
an erasing from a row that somebody emptied behind the program's back.
"""

import datetime as dt
from collections.abc import Collection

from django.db import models, transaction

from garage import audit
from garage.clock import Clock
from garage.errors import Refused
from garage.models import Document, OutgoingMail, ShopProfile, SideRow, StoredFile, User
from garage.writing import writing

#: How long papers, mail and what stands beside sealed rows are kept. Places ask for 1 to 6 years (16 CCR 3358: 3;
#: UK VAT: 6), some for 10: where yours does, do not erase before.
RECORD_YEARS = 7

#: Mail in these states may still go out.
_ON_ITS_WAY = (OutgoingMail.State.QUEUED, OutgoingMail.State.SENDING, OutgoingMail.State.HANDED)


def _over(written: dt.datetime, now: dt.datetime) -> None:
    """Refuse what is younger than the record years, counted with a leap day each."""
    if written > now - dt.timedelta(days=366 * RECORD_YEARS):
        raise Refused(f"Records are kept for {RECORD_YEARS} years: nothing younger is erased.")


@writing()
def erase_side_rows(*, rows: Collection[SideRow], actor: User | None, clock: Clock) -> int:
    """Erase names, addresses and typed words beside sealed rows, and the salts; give how many were not erased before.

    Raises Refused, and erases none, when one of them is younger than the record years.
    """
    now = clock()
    standing = list(SideRow.objects.filter(pk__in=[row.pk for row in rows], erased_at=None).order_by("pk"))
    for row in standing:
        _over(row.written_at, now)
    if standing:
        keys = [row.pk for row in standing]
        SideRow.objects.filter(pk__in=keys).update(data={}, salt="", erased_at=now)
        _write_down(standing[0], keys, actor, now)
    return len(standing)


@writing()
def erase_file(*, stored: StoredFile, actor: User | None, clock: Clock) -> StoredFile:
    """Erase a file's bytes and its name; its hash and size stay. A second time deletes bytes that were left behind.

    Raises Refused for a paper or a message younger than the record years (a photo may go at any time), for one that
    a waiting mail carries, and for the logo in use.
    """
    now = clock()
    row = StoredFile.objects.get(pk=stored.pk)
    if row.erased_at is None:
        _may_go(row, now)
        row.name, row.erased_at = "erased", now
        row.save(update_fields=["name", "erased_at"])
        Document.objects.filter(stored=row).update(state=Document.State.ERASED)
        _write_down(row, [row.pk], actor, now)
    transaction.on_commit(lambda: row.file.storage.delete(str(row.file.name)))
    return row


def _may_go(row: StoredFile, now: dt.datetime) -> None:
    if row.kind in (StoredFile.Kind.DOCUMENT, StoredFile.Kind.MESSAGE):
        _over(row.created, now)
    if OutgoingMail.objects.filter(attachments__stored=row, state__in=_ON_ITS_WAY).exists():
        raise Refused("A mail that waits to be sent carries this paper: settle the mail first.")
    if ShopProfile.objects.filter(logo=row).exists():
        raise Refused("This is the logo on papers now: choose another one first.")


@writing()
def erase_mail(*, mail: OutgoingMail, actor: User | None, clock: Clock) -> OutgoingMail:
    """Erase whom a message went to, what it said, and the file of it as it was sent; when it went stays.

    Raises Refused for a message younger than the record years, and for one that may still go out.
    """
    now = clock()
    row = OutgoingMail.objects.select_related("as_sent").get(pk=mail.pk)
    if row.state in _ON_ITS_WAY:
        raise Refused("This message may still go out: settle it first.")
    _over(row.queued_at, now)
    if row.erased_at is None:
        row.to = row.to_name = row.reply_to = row.subject = row.text = row.problem = ""
        row.erased_at = now
        row.save(update_fields=["to", "to_name", "reply_to", "subject", "text", "problem", "erased_at"])
        _write_down(row, [row.pk], actor, now)
    if row.as_sent is not None:
        erase_file(stored=row.as_sent, actor=actor, clock=lambda: now)
    return row


def _write_down(first: models.Model, keys: list[int], actor: User | None, now: dt.datetime) -> None:
    """The audit entry of an erasing, with the keys of all rows; `promises_kernel.erased_by_an_act` reads it."""
    first.refresh_from_db()  # its old name must not come into the entry
    audit.record("erased", first, actor=actor, now=now, erased=keys)
