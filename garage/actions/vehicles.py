"""Writing down the cars: what they are, whose they are, how far they have come."""

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.db.models import Q

from garage import audit, changes, dates, queries, search, shop
from garage.clock import Clock
from garage.errors import Refused
from garage.models import Customer, OdometerReading, Ownership, User, Vehicle
from garage.texts import fitting
from garage.vin import read_vin
from garage.walk_in import somebody
from garage.writing import writing

FIELDS = (
    "vin",
    "vin_not_standard",
    "heavy",
    "plate",
    "make",
    "model",
    "year",
    "engine",
    "drivetrain",
    "color",
    "notes",
)
HIGHEST_READING = 9_999_999


@writing()
def save_vehicle(
    *,
    actor: User | None,
    clock: Clock,
    vehicle: Vehicle | None = None,
    fields: Mapping[str, Any],
    owner: Customer | None,
    version: int | None = None,
) -> Vehicle:
    """Write down a new car, or bring a known one up to date; another `owner` takes it over today.

    The VIN is kept without spaces, upper-cased. Raises Refused for a VIN that cannot be one (unless
    `vin_not_standard`) or that another car has; Stale when `version` is no longer the one that stands.
    """
    now = clock()
    row = Vehicle(created=now) if vehicle is None else Vehicle.objects.select_related("owner").get(pk=vehicle.pk)
    changes.expect(row, version if vehicle else None)
    if row.merged_into_id is not None:
        raise Refused(f"{row} is merged into another car: change that one, or undo the merge first.")
    changed = changes.assign(row, fields, among=FIELDS)
    row.vin = kept_vin(row.vin, row.vin_not_standard)
    row.plate = fitting(" ".join(row.plate.upper().split()), 16, "plate")  # some letters become two: "ß", "ﬁ"
    row.plate_key = fitting(search.key(row.plate), 16, "plate")
    _refuse_known_vin(row)
    row.version += vehicle is not None
    row.save()
    audit.record(
        "wrote down vehicle" if vehicle is None else "changed vehicle", row, actor=actor, now=now, changed=changed
    )
    if row.owner != owner:
        _hand_over(row, owner, on=shop.day_of(now), actor=actor, now=now)
    make_findable(row)
    return row


def kept_vin(text: str, not_standard: bool) -> str:
    """The VIN as it is kept: one of 17 characters without spaces, whatever is said of it, so that it stands in the
    book once. Raises Refused where it cannot be one, with what is wrong with it."""
    if not text.strip():
        return ""
    if not_standard and not read_vin(text).ok:
        kept = " ".join(text.upper().split())
        if len(kept) > 20:
            raise Refused("A number that is no standard VIN may have 20 characters.", "vin")
        return kept
    reading = read_vin(text)
    if not reading.ok:
        raise Refused(" ".join(reading.problems), "vin")
    return reading.vin


def _refuse_known_vin(vehicle: Vehicle) -> None:
    """Of numbers that are no standard VIN, `BJ 7-1042` and `BJ71042` are the same."""
    others = Vehicle.objects.exclude(vin="").exclude(pk=vehicle.pk).select_related("owner")
    like = others.filter(Q(vin=vehicle.vin) | Q(vin_not_standard=True)) if vehicle.vin else others.none()
    for other in like:
        if search.key(other.vin) != search.key(vehicle.vin):
            continue
        whose = f" of {other.owner}" if other.owner else ""
        raise Refused(f"This VIN is already in the book: {other}{whose}.", "vin")


@writing()
def change_owner(
    *, vehicle: Vehicle, customer: Customer | None, on: dt.date, actor: User | None, clock: Clock
) -> Vehicle:
    """Let the car belong to `customer` from the day `on` (None: to nobody known).

    The history of owners stays. Raises Refused when the last owner had it only after that day, or for a day to come.
    """
    now = clock()
    row = Vehicle.objects.select_related("owner").get(pk=vehicle.pk)
    if row.merged_into_id is not None:
        raise Refused(f"{row} is merged into another car: hand that one over.")
    customer = customer.today if customer else None
    if on > shop.day_of(now):
        raise Refused("The owner cannot change in the future.", "on")
    if row.owner != customer:
        _hand_over(row, customer, on=on, actor=actor, now=now)
        row.version += 1
        row.save(update_fields=["version"])
        make_findable(row)
    return row


def _hand_over(
    vehicle: Vehicle, customer: Customer | None, *, on: dt.date, actor: User | None, now: dt.datetime
) -> None:
    last = vehicle.ownerships.filter(until=None).first()
    if last and last.since > shop.day_of(now):  # written down while the clock was ahead
        last.since = on
    if last and last.since > on:
        raise Refused(f"{last.customer} has had it since {dates.day(last.since)} only.", "on")
    if last:
        last.until = on
        last.save(update_fields=["since", "until"])
    if customer:
        somebody(customer, "owner")
        Ownership.objects.create(vehicle=vehicle, customer=customer, since=on)
    before, vehicle.owner = vehicle.owner, customer
    vehicle.save(update_fields=["owner"])
    audit.record(
        "changed owner",
        vehicle,
        actor=actor,
        now=now,
        on=on.isoformat(),
        owner=[before and before.pk, customer and customer.pk],
    )


def make_findable(vehicle: Vehicle) -> None:
    """Bring the search entry of a car up to date: plate, VIN and its ends, what it is, whose it is.

    One that was written down twice is found as the one that stands, by the plates and VINs of both.
    """
    if vehicle.merged_into_id is not None:
        search.drop("vehicle", vehicle)
        return
    rows = list(vehicle.same())
    search.put(
        "vehicle",
        vehicle,
        title=str(vehicle),
        subtitle=" · ".join(filter(None, [vehicle.plate, str(vehicle.owner or "")])),
        words=[word for row in rows for word in (row.plate, *search.vin_words(row.vin), row.engine)],
    )


@writing()
def read_odometer(
    *,
    vehicle: Vehicle,
    reading: int,
    unit: str,
    on: dt.date,
    actor: User | None,
    clock: Clock,
    condition: str = OdometerReading.Condition.ACTUAL,
    lower_reason: str = "",
    before: int | None = None,
) -> OdometerReading:
    """Write down what the odometer showed on a day: a whole number of `unit` (mi or km).

    A reading lower than an earlier one needs `lower_reason`, and where the odometer was replaced or repaired the
    distance that stood there `before` (49 USC 32704); where the earlier one was mistyped, that one is disregarded.
    An odometer past its mechanical limits (`condition` exceeds) has begun again at zero and needs no other reason.
    Raises Refused, with the earlier reading in the sentence.
    """
    now = clock()
    if not 0 <= reading <= HIGHEST_READING:
        raise Refused(f"An odometer shows from 0 to {HIGHEST_READING:,}.", "reading")
    if on > shop.day_of(now):
        raise Refused("The reading cannot be in the future.", "on")
    earlier = queries.reading_above(vehicle, reading, unit, on)
    if earlier and condition != OdometerReading.Condition.EXCEEDS:
        before = _explained(earlier, unit, lower_reason, before)
    else:
        lower_reason, before = "", None
        _refuse_above_later(vehicle, reading, unit, on, today=shop.day_of(now))
    mistyped = lower_reason == OdometerReading.LowerReason.MISTYPED
    wrong = queries.readings_above(vehicle, reading, unit, on) if mistyped else []
    row = OdometerReading.objects.create(
        vehicle=vehicle,
        on=on,
        reading=reading,
        unit=unit,
        condition=condition,
        lower_reason=lower_reason,
        before=before,
        by=actor,
    )
    OdometerReading.objects.filter(pk__in=[one.pk for one in wrong]).update(disregarded=True, corrected_by=row)
    audit.record(
        "read odometer", vehicle, actor=actor, now=now, reading=str(row), on=on.isoformat(), lower=lower_reason
    )
    return row


def _explained(earlier: OdometerReading, unit: str, reason: str, before: int | None) -> int:
    """The distance before a lower reading, once the reason for it is known; else Refused."""
    stood = f"{earlier} on {dates.day(earlier.on)}"
    if reason not in OdometerReading.LowerReason.values or not reason:
        raise Refused(f"That is lower than {stood}. Correct it, or say below why the odometer shows less.", "reading")
    shown = queries.whole_distance(earlier.reading, earlier.unit, unit)
    if reason == OdometerReading.LowerReason.MISTYPED:
        return shown
    if before is None:
        raise Refused(f"What did the odometer show before? It was {stood}.", "before")
    if before < shown:
        raise Refused(f"It cannot have shown less than {stood}.", "before")
    return before


def _refuse_above_later(vehicle: Vehicle, reading: int, unit: str, on: dt.date, *, today: dt.date) -> None:
    later = queries.later_reading_below(vehicle, reading, unit, on, today=today)
    if later:
        raise Refused(f"It read only {later} on {dates.day(later.on)}, which is later. Compare the day.", "reading")
