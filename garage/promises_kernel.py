"""The kernel's own promises: sealed audit trail, guards in place, papers unchanged, the database itself sound."""

from collections.abc import Iterator

from django.db import connection

from garage import database, documents, ledger, promises
from garage.models import AuditEntry, ClockNote, Ownership, Vehicle


def guards_stand() -> Iterator[str]:
    """Every append-only table is still protected."""
    for name in database.missing_guards(connection):
        yield f"trigger {name} is missing: run manage.py migrate, and find out who dropped it"


def audit_is_whole() -> Iterator[str]:
    """The audit trail's chain is unbroken."""
    return ledger.breaks(AuditEntry)


def clock_notes_are_whole() -> Iterator[str]:
    """What the owner answered for the clock is what was sealed."""
    yield from ledger.breaks(ClockNote)
    for note in ClockNote.objects.select_related("words"):
        if not note.words.matches(note.words_seal):
            yield f"{note}: its reason was changed behind it"


def database_is_sound() -> Iterator[str]:
    """SQLite's own checks of its file; PostgreSQL keeps these by itself."""
    if connection.vendor != "sqlite":
        return
    with connection.cursor() as cursor:
        for (answer,) in cursor.execute("PRAGMA quick_check").fetchall():
            if answer != "ok":
                yield f"the database file is damaged ({answer}): restore the last backup"
        for table, row, parent, _ in cursor.execute("PRAGMA foreign_key_check").fetchall():
            yield f"{table} {row} points at a row of {parent} that does not exist"


def owners_agree() -> Iterator[str]:
    """A vehicle's owner is the one whose ownership is open."""
    open_rows = dict(Ownership.objects.filter(until=None).values_list("vehicle", "customer"))
    for vehicle in Vehicle.objects.order_by("pk").values("pk", "owner").iterator():
        if open_rows.get(vehicle["pk"]) != vehicle["owner"]:
            yield f"vehicle {vehicle['pk']}: its owner is not the one of its open ownership"


def register() -> None:
    """Make the kernel's checks known to `books_check`."""
    promises.register("the database file is sound", database_is_sound)
    promises.register("append-only tables are guarded", guards_stand)
    promises.register("the audit trail is whole", audit_is_whole)
    promises.register("what was answered for the clock is what was sealed", clock_notes_are_whole)
    promises.register("each vehicle has the owner its history says", owners_agree)
    promises.register("stored documents are byte for byte what was made", documents.altered)
