"""What the intake sheet offers from the book: customers found, their vehicles, what is open or due on one."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field

from garage import queries as kernel
from garage import search
from garage.cuts import Cut, first_of
from garage.models import Customer, OdometerReading, Vehicle
from jobs import queries
from jobs.models import Advisory, DueService
from jobs.queries_due import DueRow, Recommended, due_rows, recommended

SHOWN = 8


@dataclass(frozen=True)
class Offers:
    """What is known of a vehicle that comes in."""

    vehicle: Vehicle
    last: OdometerReading | None
    advisories: list[Recommended] = field(default_factory=list)
    due: list[DueRow] = field(default_factory=list)

    def taken(self, keys: Iterable[str]) -> list[Advisory | DueService]:
        """Those that were ticked on the sheet, named `advisory 12` or `due 3`."""
        rows: dict[str, Advisory | DueService] = {
            f"advisory {row.advisory.pk}": row.advisory for row in self.advisories
        }
        rows |= {f"due {row.due.pk}": row.due for row in self.due}
        return [rows[key] for key in keys if key in rows]


def customers_found(text: str) -> Cut[Customer]:
    """The customers that a name, a phone, a plate or the end of a VIN leads to, with phones and vehicles."""
    found = search.find(text, kinds=("customer", "vehicle"), limit=3 * SHOWN)
    cars = [entry.object_id for entry in found if entry.kind == "vehicle"]
    owners = dict(Vehicle.objects.filter(pk__in=cars).values_list("pk", "owner_id"))
    wanted = [entry.object_id if entry.kind == "customer" else owners.get(entry.object_id) for entry in found]
    keys = Cut.of(dict.fromkeys(key for key in wanted if key is not None), SHOWN)
    rows = kernel.customers_with_contact().in_bulk(keys)
    known = [rows[key] for key in keys if key in rows and not rows[key].walk_in]
    return Cut(known, more=True) if found.more else keys.with_rows(known)


def customers_at(number: str) -> Cut[Customer]:
    """The customers who have this phone number, so that nobody is written down twice."""
    digits = search.digits(number)
    if len(digits) < 7:
        return Cut()
    return first_of(kernel.customers_with_contact().filter(phones__digits=digits).distinct(), SHOWN)


def vehicles_at(vin: str, plate: str) -> list[Vehicle]:
    """The vehicles that are in the book already with this VIN or plate."""
    rows = Vehicle.objects.select_related("owner")
    kept, key = search.key(vin), search.key(plate)
    found = list(rows.filter(vin=kept)) if len(kept) >= 6 else []
    return found + [row for row in (rows.filter(plate_key=key) if key else []) if row not in found]


def offers_of(vehicle: Vehicle | None, today: dt.date) -> Offers | None:
    """The last odometer reading, the open advisories and the services due of a vehicle."""
    if vehicle is None:
        return None
    due = due_rows(queries.due_services(vehicle), today)
    noticed = recommended(queries.open_advisories(vehicle), today)
    return Offers(vehicle, kernel.latest_reading(vehicle), noticed, due)
