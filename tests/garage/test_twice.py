"""Somebody or something that is in the book twice: asked about, made one, parted again; nothing is moved or lost."""

import uuid
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client

from garage import promises, queries, search
from garage.actions.customers import save_customer
from garage.actions.merging import merge_customer, merge_vehicle, part_customer, part_vehicle
from garage.actions.vehicles import read_odometer, save_vehicle
from garage.clock import fixed
from garage.errors import Refused
from garage.models import Customer, User, Vehicle
from invoicing.accounts import balance_of as owed_by
from invoicing.queries import invoices_of
from jobs.models import Job
from jobs.queries import jobs_of
from tests.invoicing.cast import Garage, part

D = Decimal
Login = Callable[[str], Client]
pytestmark = pytest.mark.django_db


@pytest.fixture
def garage(shop: object, people: dict[str, User], now) -> Garage:
    garage = Garage(people, now)
    garage.rates(parts="0", labor="0")
    return garage


@pytest.fixture
def twice(garage: Garage) -> tuple[Customer, Customer]:
    """Odile, who was written down a second time; each row has a car, a visit and an invoice not paid yet."""
    rows = garage.customer("Odile Marrant"), garage.customer("Zelda Marrant")
    for row, price in zip(rows, ("40.00", "60.00"), strict=True):
        garage.issue(garage.done([part(price=price)], customer=row))
    return rows


class TestCustomers:
    def test_pages_balance_visits_and_finds_gather_both(self, garage, twice, login: Login):
        stays, closes = twice
        assert merge_customer(customer=closes, into=stays, actor=garage.actor, clock=fixed(garage.now)) == stays
        stays.refresh_from_db()
        assert owed_by(stays) == D("100.00")
        assert len(jobs_of(stays)) == len(invoices_of(stays)) == len(stays.cars) == 2
        assert [one.object_id for one in search.find("zelda marrant", kinds=["customer"])] == [stays.pk]
        page = login("counter").get(f"/customers/{stays.pk}/").content.decode()
        assert "KET-118" in page and "KET-119" in page and "is merged here" in page
        closed = login("counter").get(f"/customers/{closes.pk}/").content.decode()
        assert "Closed: it is in the book as" in closed and f'href="/customers/{stays.pk}/"' in closed
        assert {row.person.data["name"] for row in invoices_of(stays)} == {"Odile Marrant", "Zelda Marrant"}

    def test_nothing_new_is_written_on_the_closed_one(self, garage, twice):
        stays, closes = twice
        merge_customer(customer=closes, into=stays, actor=garage.actor, clock=fixed(garage.now))
        closes.refresh_from_db()
        job = garage.job([part()], customer=closes)
        assert job.customer == stays
        with pytest.raises(Refused, match="merged into another customer"):
            save_customer(
                customer=closes, fields={"name": "X"}, phones=[], emails=[], actor=None, clock=fixed(garage.now)
            )

    def test_taken_back_everything_is_as_before(self, garage, twice):
        stays, closes = twice
        merge_customer(customer=closes, into=stays, actor=garage.actor, clock=fixed(garage.now))
        part_customer(customer=closes, actor=garage.actor, clock=fixed(garage.now))
        stays, closes = (Customer.objects.get(pk=row.pk) for row in twice)
        assert (owed_by(stays), owed_by(closes)) == (D("40.00"), D("60.00"))
        assert len(stays.cars) == len(closes.cars) == 1
        assert [one.object_id for one in search.find("zelda marrant", kinds=["customer"])] == [closes.pk]
        with pytest.raises(Refused, match="is not merged"):
            part_customer(customer=closes, actor=garage.actor, clock=fixed(garage.now))

    def test_chains_lead_to_the_end_and_never_round(self, garage, twice):
        first, second = twice
        third = garage.customer("Odile M.")
        by = {"actor": garage.actor, "clock": fixed(garage.now)}
        merge_customer(customer=first, into=second, **by)
        assert merge_customer(customer=second, into=third, **by) == third
        assert owed_by(Customer.objects.get(pk=third.pk)) == D("100.00")
        for row, into in ((third, first), (third, third)):
            with pytest.raises(Refused, match="circle"):
                merge_customer(customer=row, into=into, **by)
        with pytest.raises(Refused, match="merged into Odile M. already"):
            merge_customer(customer=first, into=third, **by)
        part_customer(customer=second, **by)
        assert owed_by(Customer.objects.get(pk=second.pk)) == D("100.00"), "what was merged into it before stays so"
        assert not [breach for _name, breaches in promises.run() for breach in breaches]

    def test_through_the_pages(self, garage, twice, login: Login):
        stays, closes = twice
        client = login("counter")
        found = client.get(f"/customers/{closes.pk}/merge/", {"q": "odile marrant"}).content.decode()
        assert f"?into={stays.pk}" in found
        asked = client.get(f"/customers/{closes.pk}/merge/?into={stays.pk}").content.decode()
        assert "closes and leads to" in asked and "You can undo it at any time" in asked
        assert client.post(f"/customers/{closes.pk}/merge/?into={stays.pk}").status_code == 303
        assert Customer.objects.get(pk=closes.pk).today == stays
        client.post(f"/customers/{closes.pk}/part/")
        assert Customer.objects.get(pk=closes.pk).merged_into is None

    def test_the_same_name_and_number_are_asked_about_however_spelled(self, garage, twice, login: Login):
        data = {
            "name": "odile  MARRANT", "kind": "person", "phones-0-number": "(555) 0142", "phones-TOTAL_FORMS": "1",
            "phones-INITIAL_FORMS": "0", "emails-TOTAL_FORMS": "0", "emails-INITIAL_FORMS": "0",
            "designated-TOTAL_FORMS": "0", "designated-INITIAL_FORMS": "0",
        }  # fmt: skip
        answer = login("counter").post("/customers/new/", data)
        assert answer.status_code == 422
        assert "is in the book already: choose that customer" in answer.content.decode()
        button = answer.context["sheet"].form.answer
        assert login("counter").post("/customers/new/", {**data, "as_it_is": button}).status_code == 303
        assert (
            Customer.objects.filter(name__iexact="odile  marrant").count()
            + Customer.objects.filter(name="odile MARRANT").count()
            == 1
        )

    def test_the_intake_asks_too(self, garage, twice, login: Login):
        data = {
            "key": str(uuid.uuid4()), "c-name": "Odile Marrant", "c-kind": "person", "phone": "5550142",
            "vehicle": "none", "concern": "Squeals", "unit": "mi",
        }  # fmt: skip
        answer = login("counter").post("/counter/new/", data)
        assert "is in the book already: choose that customer" in answer.content.decode()
        jobs = Job.objects.count()
        login("counter").post("/counter/new/", {**data, "as_it_is": answer.context["sheet"].asked.answer})
        assert Job.objects.count() == jobs + 1


class TestCars:
    def test_a_car_written_down_twice_is_one(self, garage, login: Login):
        owner = garage.customer()
        first = garage.job([part()], customer=owner).vehicle
        second = garage.job([part()], customer=owner).vehicle
        by = {"actor": garage.actor, "clock": fixed(garage.now)}
        merge_vehicle(vehicle=second, into=first, **by)
        first.refresh_from_db()
        read_odometer(vehicle=first, reading=88_500, unit="mi", on=garage.now.date(), **by)
        assert len(jobs_of(first)) == 2
        assert [row.reading for row in queries.counted_readings(first)] == [88410, 88410, 88500]
        assert owner.cars == [first]
        assert [one.object_id for one in search.find(second.plate, kinds=["vehicle"])] == [first.pk]
        assert "is merged here" in login("counter").get(f"/vehicles/{first.pk}/").content.decode()
        part_vehicle(vehicle=second, **by)
        assert len(jobs_of(Vehicle.objects.get(pk=first.pk))) == 1

    def test_two_different_vins_are_two_cars(self, garage):
        by = {"actor": garage.actor, "clock": fixed(garage.now)}
        cars = [
            save_vehicle(fields={"make": "Brannock", "model": "Fell", "vin": vin}, owner=None, **by)
            for vin in ("1M8GDM9AXKP042788", "1G4AH59H45G118341")
        ]
        with pytest.raises(Refused, match="two cars"):
            merge_vehicle(vehicle=cars[0], into=cars[1], **by)
