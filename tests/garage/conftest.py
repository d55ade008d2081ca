"""A customer and a car for the kernel's pages, made by the program's own verbs."""

import datetime as dt

import pytest

from garage.actions.customers import save_customer
from garage.actions.vehicles import save_vehicle
from garage.clock import fixed
from garage.models import Customer, User, Vehicle


@pytest.fixture
def odile(people: dict[str, User], now: dt.datetime) -> Customer:
    """A customer with two phones, an email and somebody who may authorize for her."""
    return save_customer(
        actor=people["counter"],
        clock=fixed(now),
        fields={"name": "Odile Marrant", "address": "4 Mill Lane\nTesterton", "notes": "prefers a call"},
        phones=[("555-0142", "cell"), ("(555) 0143", "")],
        emails=[("odile@example.com", "")],
        designated=[("Bram Marrant", "555-0144")],
    )


@pytest.fixture
def car(odile: Customer, now: dt.datetime) -> Vehicle:
    """Her car. The VIN is the sample that 49 CFR 565.15 prints in Table VI."""
    fields = {"make": "Brannock", "model": "Fell 2.4", "year": 2016, "plate": "ket-118", "vin": "1G4AH59H45G118341"}
    return save_vehicle(actor=None, clock=fixed(now), fields=fields, owner=odile)
