"""Vehicles: the VIN as law reads it, whose they were when, and an odometer that only goes forward.

VINs: 49 CFR 565.15 Table VI and the outline for manufacturers of NHTSA print the two samples.
"""

import datetime as dt

import pytest

from garage import search
from garage.actions.customers import save_customer
from garage.actions.vehicles import change_owner, save_vehicle
from garage.clock import fixed
from garage.errors import Refused
from garage.models import AuditEntry, Customer, Vehicle

SAMPLE = "1G4AH59H45G118341"  # 49 CFR 565.15 Table VI
NEW_MAKER = "1J9RP1A36A1644345"  # NHTSA, outline for new manufacturers
DAY = dt.date(2026, 3, 2)


@pytest.fixture
def bram(db: None, now: dt.datetime) -> Customer:
    return save_customer(actor=None, clock=fixed(now), fields={"name": "Bram Tolley"}, phones=[], emails=[])


# The VIN


@pytest.mark.parametrize("typed", ["1g4ah59h45g118341", "1G4A H59H-45G1 18341", SAMPLE])  # law V1, V10
def test_a_vin_is_kept_as_law_writes_it(odile: Customer, now: dt.datetime, typed: str) -> None:
    row = save_vehicle(actor=None, clock=fixed(now), fields={"make": "A", "model": "B", "vin": typed}, owner=odile)
    assert row.vin == SAMPLE


def test_a_failed_check_digit_is_no_reason_to_refuse(odile: Customer, now: dt.datetime) -> None:
    fields = {"make": "A", "model": "B", "vin": "1G4AH59H45G118331"}  # law V2
    assert save_vehicle(actor=None, clock=fixed(now), fields=fields, owner=odile).vin == "1G4AH59H45G118331"


@pytest.mark.parametrize("typed", ["1G4AH59H45G11834", "1G4AH59H45G1183411", "1G4AH59H45G11834O"])  # V6
def test_what_cannot_be_a_vin_is_refused_unless_it_has_no_standard_one(
    odile: Customer, now: dt.datetime, typed: str
) -> None:
    fields = {"make": "A", "model": "B", "vin": typed}
    with pytest.raises(Refused, match="VIN must") as caught:
        save_vehicle(actor=None, clock=fixed(now), fields=fields, owner=odile)
    assert caught.value.field == "vin"
    row = save_vehicle(actor=None, clock=fixed(now), fields={**fields, "vin_not_standard": True}, owner=odile)
    assert row.vin == typed


def test_a_vin_stands_in_the_book_once(car: Vehicle, now: dt.datetime) -> None:
    with pytest.raises(Refused, match="2016 Brannock Fell 2.4 of Odile Marrant"):
        save_vehicle(
            actor=None, clock=fixed(now), fields={"make": "A", "model": "B", "vin": SAMPLE.lower()}, owner=None
        )


def test_cars_without_vin_do_not_clash(odile: Customer, now: dt.datetime) -> None:
    for _ in range(2):
        save_vehicle(actor=None, clock=fixed(now), fields={"make": "A", "model": "B"}, owner=odile)
    assert odile.vehicles.count() == 2


@pytest.mark.parametrize(
    "typed", ["ket118", "KET 118", "ket-1", SAMPLE, "5G118341", "G118341", "118341", "brannock fell", "marrant"]
)
def test_a_car_is_found_by(car: Vehicle, typed: str) -> None:
    assert [found.object_id for found in search.find(typed, kinds=["vehicle"])] == [car.pk]


# Owners


def test_a_new_owner_takes_over_and_the_old_one_is_remembered(
    car: Vehicle, odile: Customer, bram: Customer, now: dt.datetime
) -> None:
    later = now + dt.timedelta(days=40)
    change_owner(vehicle=car, customer=bram, on=dt.date(2026, 4, 1), actor=None, clock=fixed(later))
    car.refresh_from_db()
    assert car.owner == bram
    assert [(o.customer, o.since, o.until) for o in car.ownerships.all()] == [
        (bram, dt.date(2026, 4, 1), None),
        (odile, DAY, dt.date(2026, 4, 1)),
    ]
    assert AuditEntry.objects.latest("pk").told["owner"] == [odile.pk, bram.pk]


def test_a_car_can_leave_for_nobody_known(car: Vehicle, now: dt.datetime) -> None:
    change_owner(vehicle=car, customer=None, on=DAY, actor=None, clock=fixed(now))
    car.refresh_from_db()
    assert car.owner is None
    assert not car.ownerships.filter(until=None).exists()


def test_the_same_owner_again_changes_nothing(car: Vehicle, odile: Customer, now: dt.datetime) -> None:
    change_owner(vehicle=car, customer=odile, on=DAY, actor=None, clock=fixed(now))
    assert car.ownerships.count() == 1


@pytest.mark.parametrize(
    ("on", "sentence"), [(dt.date(2026, 3, 3), "in the future"), (dt.date(2026, 3, 1), "since Mar 2, 2026 only")]
)
def test_a_hand_over_that_cannot_have_been_is_refused(
    car: Vehicle, bram: Customer, now: dt.datetime, on: dt.date, sentence: str
) -> None:
    with pytest.raises(Refused, match=sentence):
        change_owner(vehicle=car, customer=bram, on=on, actor=None, clock=fixed(now))
