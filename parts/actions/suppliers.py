"""Writing down whom we buy from."""

import datetime as dt
from collections.abc import Mapping
from typing import Any

from garage import audit
from garage.errors import Refused
from garage.models import User
from garage.writing import writing
from parts.models import Supplier

SUPPLIER_FIELDS = ["name", "account", "phone", "email", "address", "lead_days", "notes"]


@writing()
def save_supplier(
    *,
    actor: User | None,
    now: dt.datetime,
    supplier: Supplier | None = None,
    fields: Mapping[str, Any],
    version: int | None = None,
) -> Supplier:
    """Write a supplier down, or change one. Raises Refused for a name that is taken and an outdated `version`."""
    row = Supplier() if supplier is None else Supplier.objects.get(pk=supplier.pk)
    if supplier is not None and version is not None and row.version != version:
        raise Refused(f"{row} was changed by somebody else meanwhile. Load the page again and repeat your change.")
    for name in SUPPLIER_FIELDS:
        if name in fields:
            setattr(row, name, fields[name])
    if not row.name.strip():
        raise Refused("Give the supplier a name.", "name")
    if Supplier.objects.filter(name=row.name).exclude(pk=row.pk).exists():
        raise Refused(f"There is a supplier named {row.name} already.", "name")
    row.version += 0 if supplier is None else 1
    row.save()
    audit.record("added supplier" if supplier is None else "changed supplier", row, actor=actor, now=now)
    return row
