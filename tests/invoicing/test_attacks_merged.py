"""Attacks on “it closes and points to the other one”: a visit that began with a customer and a car written down twice.

What is written from then on is of those that stand: the closed rows can no longer be put right.
"""

import datetime as dt
from collections.abc import Callable

import pytest
from django.test import Client

from garage.actions.customers import save_customer
from garage.actions.merging import merge_customer, merge_vehicle, part_customer
from garage.actions.vehicles import save_vehicle
from garage.clock import fixed
from invoicing.models import Estimate
from jobs.models import Job
from tests.invoicing.cast import Garage, broken, labor
from tests.invoicing.test_pages import text_of
from tests.invoicing.write_off_cast import draft_page

Login = Callable[[str], Client]
VIN = "1M8GDM9AXKP042788"  # the example of 49 CFR 565


@pytest.fixture
def job(garage: Garage) -> Job:
    """A visit in the bay; its customer and its car turn out to be in the book already, with all that is known."""
    garage.live()
    who = {"actor": garage.actor, "clock": fixed(garage.now)}
    hurried = save_customer(fields={"name": "Marrant"}, phones=[("555-0142", "")], emails=[], **who)  # type: ignore[arg-type]
    job = garage.job([labor("1")], customer=hurried)
    garage.authorize(garage.estimate(job), person_name="Marrant")
    garage.into_bay(job)
    known = garage.customer("Odile Marrant", payment_days=45)
    car = save_vehicle(fields={"make": "Brannock", "model": "Fell 2.4", "vin": VIN}, owner=known, **who)  # type: ignore[arg-type]
    assert job.vehicle is not None
    merge_customer(customer=hurried, into=known, **who)  # type: ignore[arg-type]
    merge_vehicle(vehicle=job.vehicle, into=car, **who)  # type: ignore[arg-type]
    return Job.objects.get(pk=job.pk)


def test_the_invoice_of_a_visit_that_was_merged_bears_who_and_what_stands(
    garage: Garage, login: Login, job: Job
) -> None:
    garage.finish(job)
    assert "odile@example.com" in draft_page(login("counter"), job)  # where it would be mailed
    invoice = garage.issue(job)
    assert (invoice.person.data["name"], invoice.person.data["address"]) == (
        "Odile Marrant",
        "4 Quay Street\nLower Fernhollow",
    )
    assert invoice.vin == VIN
    assert invoice.due_on == invoice.issued_on + dt.timedelta(days=45)
    assert Estimate.objects.get().person.data["name"] == "Marrant"  # sealed before
    part_customer(customer=job.customer, actor=garage.actor, clock=fixed(garage.now))
    assert broken() == []


def test_the_sheet_of_a_visit_that_was_merged_shows_who_and_what_stands(login: Login, job: Job) -> None:
    sheet = text_of(login("counter").get(f"/jobs/{job.pk}/"))
    assert VIN in sheet and "odile@example.com" in sheet
    assert job.vehicle is not None and job.vehicle.standing is not None
    assert f'href="/vehicles/{job.vehicle.standing.pk}/"' in sheet


def test_the_authorization_of_a_visit_that_was_merged_is_asked_of_who_stands(
    garage: Garage, login: Login, job: Job
) -> None:
    """“Designate somebody” led to the closed row, which takes nobody any more."""
    garage.line(job.operations.get(), **labor("2"))
    garage.estimate(job)
    page = text_of(login("counter").get(f"/jobs/{job.pk}/authorize/"))
    assert job.customer.standing is not None
    assert f'href="/customers/{job.customer.standing.pk}/edit/"' in page and "odile@example.com" in page
