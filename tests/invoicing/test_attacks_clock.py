"""Attacks on “order is sequence, not time”: a clock that was wrong for an hour, and what is left of it afterward.

Each once got through or led into a dead end. What is legal leaves `books_check` silent.
"""

import datetime as dt

import pytest

from garage import clockguard
from garage.actions.vehicles import change_owner
from garage.clock import fixed
from garage.errors import Refused
from garage.models import ClockNote
from invoicing.models import Invoice, TaxRate
from jobs.models import Job
from tests.invoicing.cast import Garage, broken, labor, part

DAY = dt.timedelta(days=1)


def ready(garage: Garage, number: int) -> list[Job]:
    """Jobs whose work is done, and tax rates for every year."""
    TaxRate.objects.update(valid_from=dt.date(2000, 1, 1))
    return [garage.done([labor("1")]) for _ in range(number)]


def test_a_clock_that_fell_back_into_another_year_is_asked_about(garage: Garage) -> None:
    """A dead battery says 2020, whose series has no paper yet: the invoice would be number 1 of that year."""
    first, second, third = ready(garage, 3)
    owner, right = garage.people["owner"], garage.now
    garage.issue(first)
    garage.now = dt.datetime(2020, 1, 1, 12, tzinfo=dt.UTC)
    with pytest.raises(Refused, match="says Jan 1, 2020, but a paper is dated Mar 2, 2026 already") as refused:
        garage.issue(second)
    assert refused.value.field == "clock_reason" and Invoice.objects.count() == 1
    garage.now = right
    assert garage.issue(second).label == "2026-0002"
    garage.now = dt.datetime(2025, 12, 31, 12, tzinfo=dt.UTC)
    assert garage.issue(third, actor=owner, clock_reason="It is for last year").label == "2025-0001"
    assert ClockNote.objects.get().kind == clockguard.BACK
    assert broken() == []


def test_a_year_that_began_too_early_is_answered_for_once(garage: Garage) -> None:
    first, second, third, fourth = ready(garage, 4)
    owner = garage.people["owner"]
    eve = dt.datetime(2026, 12, 31, 16, tzinfo=dt.UTC)
    garage.now = eve + 2 * DAY
    garage.issue(first, actor=owner, clock_reason="Closed since March")
    garage.now = eve
    with pytest.raises(Refused, match="a paper is dated Jan 2, 2027 already"):
        garage.issue(second)
    garage.issue(second, actor=owner, clock_reason="The clock was two days ahead")
    garage.issue(third)
    garage.now = eve + 3 * DAY
    garage.issue(fourth)
    labels = list(Invoice.objects.order_by("pk").values_list("label", flat=True))
    assert labels == ["2027-0001", "2026-0001", "2026-0002", "2027-0002"]
    assert broken() == []


@pytest.mark.parametrize("ahead", [DAY, 29 * DAY])
def test_a_car_that_came_while_the_clock_was_ahead_is_finished_and_handed_over(
    garage: Garage, ahead: dt.timedelta
) -> None:
    """Its odometer was read on a day to come: no reading of the weeks until then could be higher."""
    right = garage.now
    garage.now = right + ahead
    job = garage.job([labor("1")], [part()])
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    garage.now = right
    assert garage.finish(job, odometer=88_414).odometer_out is not None
    garage.issue(job)
    buyer, car = garage.customer("Ines Fell"), job.vehicle
    assert car is not None
    who = {"actor": garage.actor, "clock": fixed(garage.now)}
    change_owner(vehicle=car, customer=buyer, on=right.date(), **who)  # type: ignore[arg-type]
    car.refresh_from_db()
    assert car.owner == buyer
    assert [(row.customer, row.since, row.until) for row in car.ownerships.all()] == [
        (buyer, right.date(), None),
        (job.customer, right.date(), right.date()),
    ]
    assert broken() == []
