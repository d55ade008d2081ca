"""The odometer: whole miles or kilometers with their day (49 CFR 580.5(c)); a lower reading is asked about.

49 USC 32704: after a replacement the distance that stood before is kept.
"""

import datetime as dt
from decimal import Decimal
from typing import Any

import pytest

from garage import queries
from garage.actions.vehicles import read_odometer, save_vehicle
from garage.clock import fixed
from garage.errors import Refused
from garage.models import OdometerReading, Vehicle

DAY = dt.date(2026, 3, 2)


@pytest.fixture
def car(db: None, now: dt.datetime) -> Vehicle:
    return save_vehicle(actor=None, clock=fixed(now), fields={"make": "Brannock", "model": "Fell"}, owner=None)


def read(car: Vehicle, reading: int, on: dt.date = DAY, unit: str = "mi", **more: Any) -> OdometerReading:
    now = dt.datetime.combine(max(on, DAY), dt.time(18), dt.UTC)
    return read_odometer(vehicle=car, reading=reading, unit=unit, on=on, actor=None, clock=fixed(now), **more)


def test_a_lower_reading_is_refused_with_the_earlier_one(car: Vehicle) -> None:  # law O2
    read(car, 84_210, DAY)
    with pytest.raises(Refused, match=r"lower than 84,210 mi on Mar 2, 2026") as caught:
        read(car, 12, DAY + dt.timedelta(9))
    assert caught.value.field == "reading"
    assert car.readings.count() == 1


def test_a_replaced_odometer_may_begin_anew_with_what_stood_before(car: Vehicle) -> None:  # law O2
    read(car, 84_210)
    row = read(car, 12, DAY + dt.timedelta(9), lower_reason="replaced", before=84_210)
    assert (row.reading, row.before, row.lower_reason) == (12, 84_210, "replaced")
    read(car, 500, DAY + dt.timedelta(20))
    assert queries.distances(car, "mi") == [
        (DAY + dt.timedelta(9), Decimal(12)),
        (DAY + dt.timedelta(20), Decimal(500)),
    ]


@pytest.mark.parametrize(
    ("before", "sentence"), [(None, "What did the odometer show before"), (84_000, "less than 84,210")]
)
def test_the_distance_before_must_be_told_and_possible(car: Vehicle, before: int | None, sentence: str) -> None:
    read(car, 84_210)
    with pytest.raises(Refused, match=sentence) as caught:
        read(car, 12, lower_reason="repaired", before=before)
    assert caught.value.field == "before"


def test_a_mistyped_reading_is_disregarded_from_then_on(car: Vehicle) -> None:
    read(car, 80_000)
    read(car, 884_210, DAY + dt.timedelta(1))
    row = read(car, 88_500, DAY + dt.timedelta(30), lower_reason="mistyped")
    assert row.before == 884_210
    assert [r.reading for r in queries.counted_readings(car)] == [80_000, 88_500]
    assert queries.latest_reading(car) == row
    assert car.readings.count() == 3, "what was written stays written"


def test_an_odometer_past_its_limits_needs_no_other_reason(car: Vehicle) -> None:
    read(car, 99_990)
    row = read(car, 14, DAY + dt.timedelta(9), condition="exceeds")
    assert row.lower_reason == ""
    assert queries.distances(car, "mi") == [(row.on, Decimal(14))]


def test_an_earlier_day_cannot_show_more_than_a_later_one(car: Vehicle) -> None:
    read(car, 84_210)
    with pytest.raises(Refused, match="read only 84,210 mi on Mar 2, 2026, which is later"):
        read(car, 90_000, DAY - dt.timedelta(100))
    read(car, 80_000, DAY - dt.timedelta(100))


@pytest.mark.parametrize(("reading", "unit"), [(142_282, "km"), (142_281, "km"), (88_410, "mi")])
def test_the_same_distance_in_the_other_unit_is_not_lower(car: Vehicle, reading: int, unit: str) -> None:
    read(car, 88_410)  # 142,282.1 km; 1 mi = 1.609344 km exactly (NIST SP 811)
    assert read(car, reading, unit=unit).unit == unit


def test_fewer_kilometers_than_miles_before_is_lower(car: Vehicle) -> None:
    read(car, 88_410)
    with pytest.raises(Refused, match="lower"):
        read(car, 142_270, unit="km")


@pytest.mark.parametrize(
    ("reading", "on", "field"),
    [(-1, DAY, "reading"), (10_000_000, DAY, "reading"), (5, DAY + dt.timedelta(1), "on")],
)
def test_what_cannot_be_read_is_refused(car: Vehicle, reading: int, on: dt.date, field: str) -> None:
    now = dt.datetime.combine(DAY, dt.time(12), dt.UTC)
    with pytest.raises(Refused) as caught:
        read_odometer(vehicle=car, reading=reading, unit="mi", on=on, actor=None, clock=fixed(now))
    assert caught.value.field == field
