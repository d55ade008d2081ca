"""Two people editing one job: what somebody saw when their form was made, so that nothing is overwritten unseen.

A job's `version` counts every edit of it. A form compares less: only the fields it would overwrite, so that two
counters may write two lines of one job at the same time and neither is stopped for nothing.
"""

from django.db import models

from garage.changes import Stale
from garage.ledger import digest, plain


def mark(row: models.Model, *names: str) -> str:
    """A short mark of the named fields of a row, for a form's hidden `version`: another one once a field differs."""
    kept = {field.attname: field for field in row._meta.concrete_fields if field.name in names}
    return digest({name: plain(field, field.value_from_object(row)) for name, field in kept.items()})[:16]


def check(row: models.Model, seen: str, *names: str) -> None:
    """Raise Stale when the fresh `row` is not what was seen; an empty mark asks for no check."""
    current = mark(row, *names)
    if seen and seen != current:
        raise Stale(row, current)
