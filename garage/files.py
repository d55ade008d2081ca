"""Keeping files beside the database, each with the hash it had when it was stored."""

import hashlib

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
