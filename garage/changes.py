"""Changing a row that may have been changed since it was read: what differs goes into the audit trail."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.db import models

from garage.errors import Refused
from garage.ledger import plain


class Stale(Refused):
    """Somebody else saved the row after this person opened it; `version` (or a mark) is the one that stands now."""

    def __init__(self, row: models.Model, version: int | str) -> None:
        super().__init__(
            f"Somebody else changed “{row}” while you had it open. What you typed is kept below: "
            "compare it with the page, then save again to put yours in its place."
        )
        self.version = version


def expect(row: Any, version: int | None) -> None:
    """Raise Stale unless `row`, just read, still has the version that was read before; None asks nothing."""
    if version is not None and row.version != version:
        raise Stale(row, row.version)


def assign(row: models.Model, values: Mapping[str, Any], *, among: Iterable[str]) -> dict[str, list[Any]]:
    """Set the named fields of a row and return what really changed, as `{field: [old, new]}` for the audit.

    A name that is not `among` the fields a person may set is a ValueError: nothing slips in with a form.
    """
    if unknown := set(values) - set(among):
        raise ValueError(f"not to be set here: {', '.join(sorted(unknown))}")
    changed: dict[str, list[Any]] = {}
    for name, value in values.items():
        field = row._meta.get_field(name)
        assert isinstance(field, models.Field)
        old = plain(field, getattr(row, field.attname))
        setattr(row, name, value)
        new = plain(field, field.to_python(getattr(row, field.attname)))
        if old != new:
            changed[name] = [old, new]
    return changed
