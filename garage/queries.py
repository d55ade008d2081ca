"""Reads of the kernel's tables that are used twice or need a join."""

import datetime as dt
from collections.abc import Iterable
from decimal import Decimal

from django.db.models import Prefetch, QuerySet

from garage import search, units
from garage.driving import leaps
from garage.models import Customer, OdometerReading, Ownership, User, Vehicle
from garage.numbers import round_half_up


def customers_with_contact() -> QuerySet[Customer]:
    """Customers with their phones, emails, designated persons and vehicles at hand."""
    return Customer.objects.select_related("standing").prefetch_related(
        "phones", "emails", "designated", "vehicles", "gathered__vehicles"
    )


def written_down_before(name: str, phones: Iterable[str], *, but: Customer | None = None) -> Customer | None:
    """Who has this name and one of these numbers already, however both are spelled."""
    digits = {found for number in phones if len(found := search.digits(number)) >= 5}
    if not name.strip() or not digits:
        return None
    rows = Customer.objects.filter(phones__digits__in=digits, merged_into=None).distinct()
    rows = rows.exclude(pk=but.pk) if but else rows
    return next((row for row in rows.order_by("-pk") if search.key(row.name) == search.key(name)), None)


def twice(name: str, phones: Iterable[str], *, but: Customer | None = None) -> str:
    """The question about a customer who seems to be in the book already; empty when there is none."""
    phones = list(phones)
    known = written_down_before(name, phones, but=but)
    if known is None:
        return ""
    return f"{known}, {', '.join(phones)}, is in the book already: choose that customer, or save a second one."


def vehicles_with_history() -> QuerySet[Vehicle]:
    """Vehicles with their owner and all who owned them before at hand."""
    owners = Ownership.objects.select_related("customer")
    rows = Vehicle.objects.select_related("owner__standing", "standing")
    return rows.prefetch_related(Prefetch("ownerships", owners), "owner__phones")


def people() -> QuerySet[User]:
    """Everybody with a login, those who may log in first, by name."""
    return User.objects.order_by("-is_active", "name", "pk")


def with_plate(plate_key: str, *, but: Vehicle | None = None) -> Vehicle | None:
    """Another vehicle that carries the same plate, if there is one; `plate_key` is `search.key(plate)`."""
    others = Vehicle.objects.filter(plate_key=plate_key, merged_into=None).exclude(plate_key="").select_related("owner")
    return (others.exclude(pk=but.pk) if but else others).order_by("-pk").first()


# The odometer


def whole_distance(reading: int, unit: str, to: str) -> int:
    """A whole distance in another unit, rounded half-up to a whole one."""
    return reading if unit == to else int(round_half_up(units.convert(Decimal(reading), unit, to), 0))


def counted_readings(vehicle: Vehicle) -> list[OdometerReading]:
    """The readings that count, oldest first: without those that turned out to be mistyped."""
    return list(readings_of(vehicle).filter(disregarded=False).order_by("on", "pk"))


def readings_of(vehicle: Vehicle) -> QuerySet[OdometerReading]:
    """Every reading of a car, those written down with a row that is merged included."""
    return OdometerReading.objects.filter(vehicle__in=vehicle.same()).select_related("by", "corrected_by")


def latest_reading(vehicle: Vehicle) -> OdometerReading | None:
    """The last reading that counts."""
    return readings_of(vehicle).filter(disregarded=False).order_by("-on", "-pk").first()


def distances(vehicle: Vehicle, unit: str) -> list[tuple[dt.date, Decimal]]:
    """Day and distance in `unit` of each reading since the odometer last began anew, oldest first."""
    since = _since_break(counted_readings(vehicle))
    return [(row.on, units.convert(Decimal(row.reading), row.unit, unit)) for row in since]


def leap(vehicle: Vehicle | None, reading: int, unit: str, on: dt.date) -> str:
    """The question about a figure far beyond what the car's own readings let expect; empty when there is none."""
    before = [row for row in distances(vehicle, unit) if row[0] <= on] if vehicle else []
    if not leaps(reading, on, before, unit):
        return ""
    said = f"{reading:,} {unit}"
    if not before:
        return f"{said} is more than cars usually reach."
    last_on, last = before[-1]
    days = max((on - last_on).days, 0)
    when = {0: "read the same day", 1: "read the day before"}.get(days, f"read {days} days before")
    return f"{said} would be {reading - int(last):,} {unit} more than {int(last):,} {unit}, {when}."


def readings_above(vehicle: Vehicle, reading: int, unit: str, on: dt.date) -> list[OdometerReading]:
    """The readings up to the day `on`, since the odometer last began anew, that are higher than this one."""
    before = _since_break([row for row in counted_readings(vehicle) if row.on <= on])
    return [row for row in before if _in(row, unit) - _slack(row, unit) > reading]


def reading_above(vehicle: Vehicle, reading: int, unit: str, on: dt.date) -> OdometerReading | None:
    """The highest of `readings_above`, if there is any."""
    return max(readings_above(vehicle, reading, unit, on), key=lambda row: _in(row, unit), default=None)


def later_reading_below(
    vehicle: Vehicle, reading: int, unit: str, on: dt.date, *, today: dt.date
) -> OdometerReading | None:
    """The first reading after the day `on`, before the odometer began anew, that is lower than this one.

    One that was read while the clock was ahead bears a day after `today`, and is no later one.
    """
    for row in counted_readings(vehicle):
        later = on < row.on <= today
        if later and _begins_anew(row):
            return None
        if later and _in(row, unit) + _slack(row, unit) < reading:
            return row
    return None


def carried(readings: Iterable[OdometerReading], odometer: int, unit: str, on: dt.date) -> int:
    """What an odometer figure of the day `on` would read on the odometer of today, in the same unit.

    A replaced or repaired odometer went on from another figure than the one that stood there before. `readings`
    are those that count, oldest first. Below zero: the old odometer would have reached it before it was replaced.
    """
    for row in readings:
        if row.on > on and row.before is not None and _begins_anew(row):
            odometer += whole_distance(row.reading, row.unit, unit) - whole_distance(row.before, row.unit, unit)
    return odometer


def _since_break(readings: Iterable[OdometerReading]) -> list[OdometerReading]:
    since: list[OdometerReading] = []
    for row in readings:
        if _begins_anew(row):
            since = []
        since.append(row)
    return since


def _begins_anew(row: OdometerReading) -> bool:
    replaced = (OdometerReading.LowerReason.REPLACED, OdometerReading.LowerReason.REPAIRED)
    return row.lower_reason in replaced or row.condition == OdometerReading.Condition.EXCEEDS


def _in(row: OdometerReading, unit: str) -> int:
    return whole_distance(row.reading, row.unit, unit)


def _slack(row: OdometerReading, unit: str) -> int:
    """An odometer drops its tenths: read once in miles and once in kilometers, it may be one off."""
    return int(row.unit != unit)
