"""Finding anything by anything typed, and only what this person may open."""

import datetime as dt
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from garage import search
from garage.actions.customers import save_customer
from garage.actions.vehicles import save_vehicle
from garage.clock import fixed
from garage.models import Customer, SearchEntry, Vehicle
from tests.budget import assert_budget

Login = Callable[[str], Client]


def titles(text: str, *kinds: str) -> list[str]:
    return [found.title for found in search.find(text, kinds=kinds or None)]


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("555-0142", ["Odile Marrant"]),
        ("(555) 0142", ["Odile Marrant"]),
        ("555.01.42", ["Odile Marrant"]),
        ("5550142", ["Odile Marrant"]),
        ("0142", ["Odile Marrant"]),
        ("ODILE", ["Odile Marrant"]),
        ("odîle", ["Odile Marrant"]),
        ("mill lane", ["Odile Marrant"]),
        ("marrant odile", ["Odile Marrant"]),
        ("marrant zorn", []),
        ("0199", []),
        ("", []),
        ("  .,- ", []),
    ],
)
def test_a_customer_is_found_by_what_people_say(odile: Customer, typed: str, found: list[str]) -> None:
    assert titles(typed, "customer") == found


@pytest.mark.parametrize(
    "typed", ["KET-118", "ket118", "ket 1", "k e t 118", "118341", "G118341", "brann fell", "2016"]
)
def test_a_car_is_found_by_plate_vin_or_model(car: Vehicle, typed: str) -> None:
    assert titles(typed, "vehicle") == ["2016 Brannock Fell 2.4"]


def test_an_accent_is_no_hurdle_in_either_direction(db: None, now: dt.datetime) -> None:
    save_customer(actor=None, clock=fixed(now), fields={"name": "Åse Lindström"}, phones=[], emails=[])
    assert titles("ase lindstrom") == titles("Åse") == titles("LINDSTRÖM") == ["Åse Lindström"]


def test_the_newest_comes_first(db: None, now: dt.datetime) -> None:
    for name in ("Holt One", "Holt Two"):
        save_customer(actor=None, clock=fixed(now), fields={"name": name}, phones=[], emails=[])
    assert titles("holt") == ["Holt Two", "Holt One"]


def test_a_customer_is_found_by_name_however_many_cars_and_papers_bear_it(odile: Customer, now: dt.datetime) -> None:
    for number in range(40):
        save_vehicle(actor=None, clock=fixed(now), fields={"make": "Brannock", "plate": f"VAN-{number}"}, owner=odile)
    found = search.find("marrant", limit=30)
    assert len(found) == 30 and found[-1].title == "Odile Marrant"
    assert [one.object_id for one in found[:29]] == sorted((one.object_id for one in found[:29]), reverse=True)


def test_what_is_changed_is_found_by_its_new_words_only(car: Vehicle, odile: Customer, now: dt.datetime) -> None:
    save_vehicle(actor=None, clock=fixed(now), vehicle=car, fields={"plate": "NEW-1"}, owner=odile)
    assert titles("ket118") == [] and titles("new1") == ["2016 Brannock Fell 2.4"]
    assert SearchEntry.objects.filter(kind="vehicle").count() == 1


@given(st.text(max_size=60))
def test_nothing_typed_breaks_the_search(text: str) -> None:
    for words in search.queries(text):
        assert all(word.replace("_", "").isalnum() or not word.isascii() for word in words)


@pytest.mark.parametrize(
    "text",
    ['"', "'", "a OR b", "NEAR(a b)", "a* AND", "title:x", "(", "-a", "^a", "%", "\\", "a\0b", "🚗", "ß", "x" * 5000],
)
def test_signs_of_the_index_are_only_text(odile: Customer, text: str) -> None:
    assert isinstance(search.find(text), list)


# The page


def test_the_page_shows_finds_by_kind(shop: object, login: Login, car: Vehicle, odile: Customer) -> None:
    html = login("counter").get(reverse("find"), {"q": "marrant"}).content.decode()
    assert reverse("customer", args=[odile.pk]) in html and reverse("vehicle", args=[car.pk]) in html
    assert "<h2>Customer</h2>" in html and "<h2>Vehicle</h2>" in html and 'value="marrant"' in html


def test_the_one_customer_stands_before_her_many_cars(
    shop: object, login: Login, odile: Customer, now: dt.datetime
) -> None:
    for number in range(3):
        save_vehicle(actor=None, clock=fixed(now), fields={"make": "Brannock", "plate": f"VAN-{number}"}, owner=odile)
    html = login("counter").get(reverse("find"), {"q": "marrant"}).content.decode()
    assert html.index("<h2>Customer</h2>") < html.index("<h2>Vehicle</h2>")


def test_while_typing_only_the_finds_come_back(shop: object, login: Login, odile: Customer) -> None:
    html = login("counter").get(reverse("find"), {"q": "odi"}, headers={"hx-request": "true"}).content.decode()
    assert "<html" not in html and "Odile Marrant" in html


def test_going_back_in_the_browser_brings_the_whole_page(shop: object, login: Login, odile: Customer) -> None:
    headers = {"hx-request": "true", "hx-history-restore-request": "true"}
    assert "<html" in login("counter").get(reverse("find"), {"q": "odi"}, headers=headers).content.decode()


def test_nothing_found_says_what_to_do(shop: object, login: Login) -> None:
    html = login("counter").get(reverse("find"), {"q": "zorn & sons"}).content.decode()
    assert "Nothing found" in html and reverse("customer-new") + "?name=zorn%20%26%20sons" in html
    assert 'value="zorn &amp; sons"' in html
    offered = login("counter").get(reverse("customer-new"), {"name": "zorn & sons"}).content.decode()
    assert 'value="zorn &amp; sons"' in offered


@pytest.mark.parametrize(
    ("role", "kinds"),
    [("owner", {"customer", "vehicle"}), ("technician", {"vehicle"}), ("reader", set())],
)
def test_nobody_finds_what_they_may_not_open(
    shop: object, login: Login, car: Vehicle, odile: Customer, role: str, kinds: set[str]
) -> None:
    html = login(role).get(reverse("find"), {"q": "marrant"}).content.decode()
    links = {"customer": reverse("customer", args=[odile.pk]), "vehicle": reverse("vehicle", args=[car.pk])}
    assert {kind for kind, url in links.items() if f'href="{url}"' in html} == kinds


def test_finding_asks_a_fixed_number_of_times(shop: object, login: Login, odile: Customer, now: dt.datetime) -> None:
    def one_more() -> None:
        save_customer(actor=None, clock=fixed(now), fields={"name": "Another Marrant"}, phones=[], emails=[])

    assert_budget(login("counter"), reverse("find") + "?q=marrant", 6, one_more)
