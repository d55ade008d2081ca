"""The pages of a vehicle: VIN and plate asked about, owners handed over, odometers only forward."""

import datetime as dt
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from garage import panels
from garage.actions.customers import save_customer
from garage.actions.vehicles import read_odometer, save_vehicle
from garage.clock import fixed
from garage.models import Customer, OdometerReading, Vehicle
from tests.budget import assert_budget

Login = Callable[[str], Client]
SAMPLE = "1G4AH59H45G118341"  # 49 CFR 565.15 Table VI: check digit 4, model year 2005
WRONG_DIGIT = "1G4AH59H45G118331"  # its check digit should be 1


def typed(**more: str) -> dict[str, str]:
    return {"make": "Brannock", "model": "Fell", "year": "", "plate": "ox-7", "notes": "tow hook", **more}


def answer_of(html: str) -> str:
    """What the button “save anyway” sends."""
    return html.split('name="as_it_is" value="')[1].split('"')[0]


def test_a_new_car_is_written_down_for_its_owner(shop: object, login: Login, odile: Customer) -> None:
    url = f"{reverse('vehicle-new')}?customer={odile.pk}"
    assert "Odile Marrant" in login("counter").get(url).content.decode()
    response = login("counter").post(url, typed(vin=SAMPLE.lower()))
    row = Vehicle.objects.get()
    assert response.status_code == 303 and response["Location"] == reverse("vehicle", args=[row.pk])
    assert (row.vin, row.plate, row.plate_key, row.owner) == (SAMPLE, "OX-7", "OX7", odile)
    assert row.year == 2005, "taken from the VIN (law V7)"


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"vin": SAMPLE[:-1]}, "must have 17 characters, not 16"),
        ({"vin": SAMPLE[:-1] + "O"}, "must not contain O"),
        ({"make": ""}, "Write the make."),
        ({"year": "1492"}, "From 1,885 to 2,100."),
        ({"year": "new"}, "is not a whole number"),
    ],
)
def test_bad_input_is_said_beside_its_field_and_kept(
    shop: object, login: Login, wrong: dict[str, str], sentence: str
) -> None:
    response = login("counter").post(reverse("vehicle-new"), typed(**wrong))
    html = response.content.decode()
    assert response.status_code == 422
    assert sentence in html and "tow hook" in html and all(value in html for value in wrong.values())
    assert not Vehicle.objects.exists()


def test_a_failed_check_digit_is_asked_about_and_can_be_confirmed(shop: object, login: Login) -> None:  # law V2
    url = reverse("vehicle-new")
    first = login("counter").post(url, typed(vin=WRONG_DIGIT, year="2005"))
    html = first.content.decode()
    assert first.status_code == 422 and "should be 1" in html and "Save anyway" in html
    assert not Vehicle.objects.exists()
    again = login("counter").post(url, typed(vin=WRONG_DIGIT, year="2005", as_it_is=answer_of(html)))
    assert again.status_code == 303 and Vehicle.objects.get().vin == WRONG_DIGIT


def test_a_confirmation_answers_no_other_question(shop: object, login: Login) -> None:
    url = reverse("vehicle-new")
    html = login("counter").post(url, typed(vin=WRONG_DIGIT, year="2005")).content.decode()
    other = login("counter").post(url, typed(vin=WRONG_DIGIT, year="2006", as_it_is=answer_of(html)))
    assert other.status_code == 422 and "model year 2005, not 2006" in other.content.decode()


def test_both_years_are_offered_where_the_vin_does_not_decide(shop: object, login: Login) -> None:  # law V9
    response = login("counter").post(reverse("vehicle-new"), typed(vin=SAMPLE, heavy="on"))
    html = response.content.decode()
    assert (response.status_code == 422 and "model year 1975 or 2005" in html) or "model year 2005 or 2035" in html
    assert '<datalist id="model-years">' in html


def test_a_car_without_standard_vin_is_not_judged(shop: object, login: Login) -> None:
    login("counter").post(reverse("vehicle-new"), typed(vin="frame 77-b", vin_not_standard="on"))
    assert Vehicle.objects.get().vin == "FRAME 77-B"


def test_a_plate_seen_before_is_asked_about(shop: object, login: Login, car: Vehicle) -> None:
    response = login("counter").post(reverse("vehicle-new"), typed(plate="KET 118"))
    html = response.content.decode()
    assert response.status_code == 422 and "already on the 2016 Brannock Fell 2.4 of Odile Marrant" in html
    sent = typed(plate="KET 118", as_it_is=answer_of(html))
    assert login("counter").post(reverse("vehicle-new"), sent).status_code == 303


def test_a_vin_that_another_car_has_is_refused_with_that_car(shop: object, login: Login, car: Vehicle) -> None:
    response = login("counter").post(reverse("vehicle-new"), typed(vin=SAMPLE, year="2005"))
    assert response.status_code == 422
    assert "already in the book: 2016 Brannock Fell 2.4 of Odile Marrant" in response.content.decode()


def test_a_car_is_changed_and_keeps_its_owner(shop: object, login: Login, car: Vehicle, odile: Customer) -> None:
    url = reverse("vehicle-edit", args=[car.pk])
    sent = typed(vin=SAMPLE, year="2005", color="fog gray", version=str(car.version))
    assert login("counter").post(url, sent).status_code == 303
    car.refresh_from_db()
    assert (car.color, car.owner) == ("fog gray", odile)
    stale = login("counter").post(url, sent)
    assert stale.status_code == 422 and "Somebody else changed" in stale.content.decode()


def test_what_a_vin_says_is_shown_while_it_is_typed(shop: object, login: Login) -> None:
    said = (
        login("counter")
        .get(reverse("vehicle-vin"), {"vin": SAMPLE, "field": "vin"}, headers={"HX-Request": "true"})
        .content.decode()
    )
    assert said.strip() == "North America · model year 2005"
    assert (
        "not 4"
        in login("counter")
        .get(reverse("vehicle-vin"), {"vin": "1G4A"}, headers={"HX-Request": "true"})
        .content.decode()
    )
    assert login("counter").get(reverse("vehicle-vin"), headers={"HX-Request": "true"}).content.strip() == b""


# The page


def test_the_page_shows_identity_owners_and_odometer(
    shop: object, login: Login, car: Vehicle, now: dt.datetime
) -> None:
    read_odometer(vehicle=car, reading=88_410, unit="mi", on=now.date(), actor=None, clock=fixed(now))
    html = login("counter").get(reverse("vehicle", args=[car.pk])).content.decode()
    for words in ("KET-118", SAMPLE, "North America", "2005", "Odile Marrant", "88,410 mi", "142,282 km"):
        assert words in html


def test_a_technician_sees_the_car_and_no_way_to_the_customer(shop: object, login: Login, car: Vehicle) -> None:
    html = login("technician").get(reverse("vehicle", args=[car.pk])).content.decode()
    assert "KET-118" in html and "/customers/" not in html and reverse("vehicle-edit", args=[car.pk]) not in html


def test_other_apps_add_their_panels(shop: object, login: Login, car: Vehicle, monkeypatch) -> None:
    monkeypatch.setitem(panels._panels, "vehicle", [(0, lambda request, row: f"<p>panel of {row.plate}</p>")])
    assert "panel of KET-118" in login("counter").get(reverse("vehicle", args=[car.pk])).content.decode()


@pytest.mark.parametrize("name", ["vehicle", "vehicle-edit", "vehicle-owner", "odometer-add"])
def test_no_such_car_is_404(shop: object, login: Login, name: str) -> None:
    assert login("counter").get(reverse(name, args=[4711])).status_code == 404


@pytest.mark.parametrize(
    ("name", "roles"),
    [
        ("vehicle", {"owner", "counter", "technician"}),
        ("vehicle-edit", {"owner", "counter"}),
        ("vehicle-owner", {"owner", "counter"}),
        ("odometer-add", {"owner", "counter", "technician"}),
    ],
)
def test_who_may(shop: object, login: Login, car: Vehicle, name: str, roles: set[str]) -> None:
    for role in ("owner", "counter", "technician", "reader"):
        assert login(role).get(reverse(name, args=[car.pk])).status_code == (200 if role in roles else 403), role


def test_a_page_is_only_read(shop: object, login: Login, car: Vehicle) -> None:
    assert login("counter").post(reverse("vehicle", args=[car.pk])).status_code == 405
    assert login("counter").delete(reverse("odometer-add", args=[car.pk])).status_code == 405


@pytest.mark.parametrize("customer", ["4711", "x", "-1", "9" * 30])
def test_a_customer_in_the_address_must_exist(shop: object, login: Login, customer: str) -> None:
    assert login("counter").get(reverse("vehicle-new"), {"customer": customer}).status_code == 404


def test_a_page_asks_a_fixed_number_of_times(
    shop: object, login: Login, car: Vehicle, now: dt.datetime, monkeypatch
) -> None:
    monkeypatch.setitem(panels._panels, "vehicle", [])
    reading = iter(range(1000, 9000, 10))

    def one_more() -> None:
        read_odometer(vehicle=car, reading=next(reading), unit="mi", on=now.date(), actor=None, clock=fixed(now))

    one_more()
    assert_budget(login("counter"), reverse("vehicle", args=[car.pk]), 10, one_more)
    assert_budget(login("counter"), reverse("odometer-add", args=[car.pk]), 10, one_more)


# Owners


def test_a_car_is_handed_over(shop: object, login: Login, car: Vehicle, now: dt.datetime) -> None:
    bram = save_customer(actor=None, clock=fixed(now), fields={"name": "Bram Tolley"}, phones=[], emails=[])
    url = reverse("vehicle-owner", args=[car.pk])
    found = login("counter").get(url, {"q": "toll"}).content.decode()
    assert f"{url}?customer={bram.pk}" in found
    fragment = login("counter").get(url, {"q": "toll"}, headers={"hx-request": "true"}).content.decode()
    assert "<html" not in fragment and "Bram Tolley" in fragment
    assert "Bram Tolley" in login("counter").get(url, {"customer": bram.pk}).content.decode()
    assert login("counter").post(f"{url}?customer={bram.pk}", {"on": "2026-03-05"}).status_code == 303
    car.refresh_from_db()
    assert car.owner == bram


@pytest.mark.parametrize(
    ("on", "sentence"),
    [
        ("2001-01-01", "since Mar 2, 2026 only"),
        ("2199-01-01", "in the future"),
        ("", "Choose the day."),
        ("x", "This is not a day"),
    ],
)
def test_a_hand_over_that_cannot_be_is_said(
    shop: object, login: Login, car: Vehicle, odile: Customer, on: str, sentence: str
) -> None:
    response = login("counter").post(reverse("vehicle-owner", args=[car.pk]) + "?nobody=1", {"on": on})
    assert response.status_code == 422 and sentence in response.content.decode()
    car.refresh_from_db()
    assert car.owner == odile


def test_a_search_for_nobody_offers_a_new_customer(shop: object, login: Login, car: Vehicle) -> None:
    html = login("counter").get(reverse("vehicle-owner", args=[car.pk]), {"q": "zorn"}).content.decode()
    assert "Nobody is found" in html and reverse("customer-new") + "?name=zorn" in html


# The odometer


def reading(**more: str) -> dict[str, str]:
    return {"reading": "84,210", "unit": "mi", "on": "2026-03-02", "condition": "actual", **more}


def test_an_odometer_is_written_down(shop: object, login: Login, car: Vehicle) -> None:
    assert login("technician").post(reverse("odometer-add", args=[car.pk]), reading()).status_code == 303
    row = car.readings.get()
    assert (str(row), row.on, row.by and row.by.role) == ("84,210 mi", dt.date(2026, 3, 2), "technician")


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"reading": "84,210.7"}, "write it whole, without tenths"),  # law O3
        ({"reading": "84210.7"}, "write it whole, without tenths"),
        ({"reading": "-5"}, "is not a whole number"),
        ({"reading": "lots"}, "is not a whole number"),
        ({"reading": "9" * 40}, "From 0 to 9,999,999"),
        ({"on": "2199-01-01"}, "in the future"),
        ({"unit": "leagues"}, "Choose again"),
    ],
)
def test_a_reading_that_cannot_be_is_said(
    shop: object, login: Login, car: Vehicle, wrong: dict[str, str], sentence: str
) -> None:
    response = login("counter").post(reverse("odometer-add", args=[car.pk]), reading(**wrong))
    assert response.status_code == 422 and sentence in response.content.decode()
    assert not OdometerReading.objects.exists()


def test_a_lower_reading_is_asked_about_never_taken_in_silence(
    shop: object, login: Login, car: Vehicle, now: dt.datetime
) -> None:  # law O2
    read_odometer(vehicle=car, reading=84_210, unit="mi", on=now.date(), actor=None, clock=fixed(now))
    url = reverse("odometer-add", args=[car.pk])
    assert "lower_reason" not in login("counter").get(url).content.decode()
    asked = login("counter").post(url, reading(reading="12", on="2026-03-05"))
    html = asked.content.decode()
    assert asked.status_code == 422 and "lower than 84,210 mi on Mar 2, 2026" in html
    assert 'name="lower_reason"' in html and 'name="before"' in html and 'value="12"' in html
    told = reading(reading="12", on="2026-03-05", lower_reason="replaced", before="")
    asked = login("counter").post(url, told)
    assert asked.status_code == 422 and "What did the odometer show before?" in asked.content.decode()
    assert login("counter").post(url, {**told, "before": "84,300"}).status_code == 303
    row = car.readings.get(reading=12)
    assert (row.before, row.lower_reason) == (84_300, "replaced")


def test_an_unused_pair_of_cars_may_both_lack_a_plate(shop: object, login: Login, now: dt.datetime) -> None:
    save_vehicle(actor=None, clock=fixed(now), fields={"make": "A", "model": "B"}, owner=None)
    assert login("counter").post(reverse("vehicle-new"), typed(plate="")).status_code == 303
