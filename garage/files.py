"""Keeping files beside the database, each with the hash it had when it was stored."""

import hashlib
from collections.abc import Iterator

from django.core.files.base import ContentFile

from garage.clock import Clock
from garage.models import StoredFile, User
from garage.writing import writing


@writing()
def store_bytes(
    kind: str, name: str, content_type: str, data: bytes, *, actor: User | None, clock: Clock
) -> StoredFile:
    """Store `data` under a random name on disk and its hash in the database.

    `name` is only shown, never used as a path. The verb that wants the file writes the audit row. Raises
    ValueError for no data.
    """
    now = clock()
    if not data:
        raise ValueError("an empty file is not stored")
    return StoredFile.objects.create(
        kind=kind,
        name=shown_name(name),
        content_type=content_type,
        size=len(data),
        sha256=hashlib.sha256(data).hexdigest(),
        file=ContentFile(data, name="data"),
        created=now,
        by=actor,
    )


def shown_name(name: str) -> str:
    """A file's name as it may be shown and offered for saving: no path, no control characters, 200 at most."""
    last = name.replace("\\", "/").rpartition("/")[2]
    return "".join(c for c in last if c.isprintable()).strip()[-200:] or "file"


def fault_of(stored: StoredFile, sha256: str) -> str:
    """What is wrong with a stored file's bytes, in words; empty when they are those with this hash, or erased."""
    if stored.erased_at is not None:
        there = stored.file.storage.exists(str(stored.file.name))
        return "it was erased, but its bytes are still on the disk: erase it again" if there else ""
    try:
        with stored.file.open("rb") as file:
            found = hashlib.sha256(file.read()).hexdigest()
    except OSError:
        return "its file is gone; restore it from a backup"
    return "" if found == sha256 == stored.sha256 else "its bytes changed since it was made"


def altered() -> Iterator[str]:
    """The photos, logos and messages whose bytes are no longer those that were stored, one sentence each.

    Papers have a promise of their own (`documents.altered`).
    """
    rows = StoredFile.objects.exclude(kind=StoredFile.Kind.DOCUMENT).order_by("pk")
    for stored in rows.iterator(chunk_size=500):
        if fault := fault_of(stored, stored.sha256):
            yield f"{stored.get_kind_display()} {stored.pk} ({stored.name}): {fault}"
