"""Writing down whom we buy from."""

from collections.abc import Mapping
from typing import Any

from garage import audit
from garage.changes import assign, expect
from garage.clock import Clock
from garage.errors import Refused
from garage.models import User
from garage.writing import writing
from parts.models import Supplier

SUPPLIER_FIELDS = ["name", "account", "phone", "email", "address", "lead_days", "notes"]


@writing()
def save_supplier(
    *,
    actor: User | None,
    clock: Clock,
    supplier: Supplier | None = None,
    fields: Mapping[str, Any],
    version: int | None = None,
) -> Supplier:
    """Write a supplier down, or change one. Raises Refused for a name that is taken, Stale for an old `version`."""
    now = clock()
    row = Supplier() if supplier is None else Supplier.objects.get(pk=supplier.pk)
    expect(row, version if supplier else None)
    changed = assign(row, fields, among=SUPPLIER_FIELDS)
    if not row.name.strip():
        raise Refused("Give the supplier a name.", "name")
    if Supplier.objects.filter(name=row.name).exclude(pk=row.pk).exists():
        raise Refused(f"There is a supplier named {row.name} already.", "name")
    row.version += 0 if supplier is None else 1
    row.save()
    audit.record("added supplier" if supplier is None else "changed supplier", row, actor=actor, now=now, **changed)
    return row
