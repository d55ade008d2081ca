"""The books' fixtures."""

import datetime as dt

import pytest

from garage.models import ShopProfile, User
from tests.invoicing.cast import Garage


@pytest.fixture
def garage(shop: ShopProfile, people: dict[str, User], now: dt.datetime) -> Garage:
    """A garage where parts and charges are taxed at 7.25 % and labor is not."""
    garage = Garage(people, now)
    garage.rates(parts="0.0725", labor="0", sublet="0", charge="0.0725")
    return garage


@pytest.fixture
def real_clock(garage: Garage) -> None:
    """For tests that go through the pages, whose clock is the real one."""
    garage.live()
