"""The kernel's own promises: sealed audit trail, guards in place, papers unchanged, the database itself sound."""

from collections.abc import Iterator

from django.db import connection
from django.db.models import Q

from garage import database, documents, files, ledger, promises
from garage.models import AuditEntry, ClockNote, OutgoingMail, Ownership, SideRow, StoredFile, Vehicle


def guards_stand() -> Iterator[str]:
    """Every append-only table is still protected."""
    for name in database.missing_guards(connection):
        yield f"trigger {name} is missing: run manage.py migrate, and find out who dropped it"


def audit_is_whole() -> Iterator[str]:
    """The audit trail's chain is unbroken."""
    return ledger.breaks(AuditEntry)


def side_rows_hold() -> Iterator[str]:
    """What stands beside the sealed rows is what was sealed with them, or erased."""
    for model in ledger.sealed_models():
        rows = model._default_manager.filter(~Q(side=None) | ~Q(side_seal="")).select_related("side").order_by("pk")
        for row in rows.iterator(chunk_size=2000):
            if row.side is None or not row.side.matches(row.side_seal):
                yield f"{model._meta.verbose_name} {row.pk}: the names or words beside it were changed behind it"


def erased_by_an_act() -> Iterator[str]:
    """Whatever is erased was erased by the book's own act, which stands in the audit trail."""
    known: dict[str, set[int]] = {}
    for entry in AuditEntry.objects.filter(verb="erased").iterator(chunk_size=2000):
        known.setdefault(entry.record.partition(":")[0], set()).update(entry.details["erased"])
    for model in (SideRow, StoredFile, OutgoingMail):
        for key in model._default_manager.exclude(erased_at=None).order_by("pk").values_list("pk", flat=True):
            if key not in known.get(model._meta.label_lower, ()):
                yield f"{model._meta.verbose_name} {key}: it was erased, and no entry says by whom: restore a backup"


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
    promises.register("the chain of answers for the clock is whole", lambda: ledger.breaks(ClockNote))
    promises.register("what stands beside sealed rows is what was sealed", side_rows_hold)
    promises.register("what is erased was erased by an act of the book", erased_by_an_act)
    promises.register("each vehicle has the owner its history says", owners_agree)
    promises.register("stored documents are byte for byte what was made", documents.altered)
    promises.register("sent mail, photos and the logo are byte for byte what was stored", files.altered)
