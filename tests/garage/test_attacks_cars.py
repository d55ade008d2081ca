"""Attacks on “a car stands in the book once”, by the pages and the verbs: each one once got through."""

from collections.abc import Callable

import pytest
from django.test import Client

from garage.actions.merging import merge_vehicle
from garage.actions.vehicles import save_vehicle
from garage.clock import fixed
from garage.errors import Refused
from garage.models import User, Vehicle
from tests.conftest import NOON

Login = Callable[[str], Client]
VIN = "1M8GDM9AXKP042788"  # the example of 49 CFR 565
CAR = {"make": "Brannock", "model": "Fell"}


@pytest.fixture
def client(login: Login, shop: object) -> Client:
    return login("counter")


def written(client: Client, **fields: str) -> str:
    """What the page of a new car answers, entities undone; asked back, the answer is yes."""
    answer = client.post("/vehicles/new/", {**CAR, "year": "1989", **fields})
    if answer.status_code == 422 and (asked := getattr(answer.context["form"], "asked", None)):
        answer = client.post("/vehicles/new/", {**CAR, "year": "1989", **fields, "as_it_is": asked.answer})
    return answer.content.decode()


@pytest.mark.parametrize(
    "again",
    [VIN, VIN.lower(), f" {VIN[:3]} {VIN[3:9]}-{VIN[9:]} ", "\N{NO-BREAK SPACE}" + VIN],
)
@pytest.mark.parametrize("not_standard", ["", "on"])
def test_a_vin_is_in_the_book_once_however_it_is_typed(client: Client, again: str, not_standard: str) -> None:
    """Ticked as no standard VIN, and with a space in it, it was another one."""
    written(client, vin=VIN)
    assert "This VIN is already in the book" in written(client, vin=again, vin_not_standard=not_standard)
    assert Vehicle.objects.get().vin == VIN


@pytest.mark.parametrize("again", ["BJ 7-1042", "bj71042", "BJ7 1042"])
def test_a_number_of_an_old_car_is_in_the_book_once(client: Client, again: str) -> None:
    written(client, vin="BJ 7-1042", vin_not_standard="on")
    assert "This VIN is already in the book" in written(client, vin=again, vin_not_standard="on")
    assert Vehicle.objects.get().vin == "BJ 7-1042"
    written(client, vin="BJ 7-1043", vin_not_standard="on")
    assert Vehicle.objects.count() == 2


@pytest.mark.parametrize("letter", "OIQoiq")
def test_a_letter_that_no_vin_has_is_said(client: Client, letter: str) -> None:
    assert "only digits and letters without I, O and Q" in written(client, vin=letter + VIN[1:])
    assert not Vehicle.objects.exists()


@pytest.mark.parametrize("plate", ["\N{LATIN SMALL LETTER SHARP S}" * 16, "\N{SQUARE KG}" * 16])
def test_letters_that_become_two_do_not_outgrow_the_plate(client: Client, plate: str) -> None:
    """A column of 16 characters: PostgreSQL broke off, SQLite kept 32."""
    assert "This may have 16 characters and has 32: say it shorter." in written(client, plate=plate)
    assert not Vehicle.objects.exists()


def test_a_car_with_a_vin_is_not_closed_for_one_without(people: dict[str, User]) -> None:
    """Its papers would bear no VIN, and the one that stands could not take it: it was in the book already."""
    by = {"actor": people["counter"], "clock": fixed(NOON)}
    first, second = (save_vehicle(fields={**CAR, "vin": vin}, owner=None, **by) for vin in (VIN, ""))  # type: ignore[arg-type]
    with pytest.raises(Refused, match=f"has the VIN {VIN} and Brannock Fell has none: merge that one into this one"):
        merge_vehicle(vehicle=first, into=second, **by)  # type: ignore[arg-type]
    assert merge_vehicle(vehicle=second, into=first, **by).vin == VIN  # type: ignore[arg-type]
