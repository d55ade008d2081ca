"""A leap of the odometer is asked about by the car's own daily distance; a mistyped figure is mended.

The thresholds are common practice, no source; the daily distance is Theil's and Sen's (test_intervals.py).
"""

import datetime as dt
import re
import uuid
from decimal import Decimal

import pytest

from garage.actions.vehicles import read_odometer
from garage.clock import fixed
from garage.driving import leaps
from garage.models import OdometerReading, Vehicle
from invoicing.drafts import draft
from invoicing.freezing import odometer_on_paper
from jobs import queries
from jobs.actions.intake import Odometer
from jobs.actions.readings import correct_reading
from jobs.models import DueService, Job
from tests.invoicing.cast import Garage, part
from tests.jobs.bay_cast import Bay, in_bay, look_and_finish

D = Decimal
pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("reading", "asked"),
    [(62_945, False), (629_450, True), (9_510_000, True), (66_000, False), (75_000, True)],
)
def test_a_figure_leaps_ahead_of_a_car_that_does_30_miles_a_day(reading: int, asked: bool) -> None:
    first = dt.date(2025, 1, 1)
    before = [(first + dt.timedelta(days=100 * n), D(50_000 + 3_000 * n)) for n in range(5)]
    on = before[-1][0] + dt.timedelta(days=30)
    assert leaps(reading, on, before, "mi") is asked
    in_km = [(day, D(round(miles * D("1.609344")))) for day, miles in before]
    assert leaps(round(reading * 1.609344), on, in_km, "km") is asked


def test_a_first_figure_is_asked_about_only_where_few_cars_ever_come(db: None) -> None:
    day = dt.date(2026, 3, 2)
    assert [leaps(n, day, [], "mi") for n in (499_999, 500_001)] == [False, True]
    assert [leaps(n, day, [], "km") for n in (800_000, 805_000)] == [False, True]


def test_the_odometer_page_asks_and_takes_it_on_one_tap(shop, people, now, login) -> None:
    garage = Garage(people, now)
    car = Vehicle.objects.get(jobs=garage.job([part()]))
    data = {"reading": "884100", "unit": "mi", "on": now.date().isoformat(), "condition": "actual"}
    answer = login("technician").post(f"/vehicles/{car.pk}/odometer/", data)
    assert answer.status_code == 422
    assert "884,100 mi would be 795,690 mi more than 88,410 mi, read the same day." in answer.content.decode()
    assert 'value="884100"' in answer.content.decode()
    sure = {**data, "as_it_is": answer.context["form"].answer}
    assert login("technician").post(f"/vehicles/{car.pk}/odometer/", sure).status_code == 303


def test_the_intake_asks(shop, people, now, login) -> None:
    garage = Garage(people, now)
    owner = garage.customer()
    job = garage.job([part()], customer=owner)
    Job.objects.filter(pk=job.pk).update(stage="canceled")
    data = {
        "key": str(uuid.uuid4()), "customer": str(owner.pk), "vehicle": str(job.vehicle_id), "concern": "x",
        "reading": "884100", "unit": "mi",
    }  # fmt: skip
    answer = login("counter").post("/counter/new/", data)
    assert re.search(r"884,100 mi would be 795,690 mi more", answer.content.decode())


def test_the_bay_asks_before_it_finishes(people, now, shop, login) -> None:
    bay = in_bay(people, now)
    answer = login("technician").post(f"/bay/{bay.job.pk}/finish/", {"look": "on", "reading": "9510000", "unit": "mi"})
    assert answer.status_code == 422 and "9,510,000 mi would be" in answer.content.decode()


def finished(people: dict, now: dt.datetime, odometer: int) -> tuple[Bay, OdometerReading]:
    bay = in_bay(people, now)
    bay.do_all()
    look_and_finish(job=bay.job, odometer_out=Odometer(odometer, "mi"), actor=bay.technician, clock=fixed(now))
    bay.job.refresh_from_db()
    assert bay.job.odometer_out is not None
    return bay, bay.job.odometer_out


def test_a_corrected_reading_is_followed_by_the_visit_its_draft_and_what_is_due(people, now, shop, login) -> None:
    bay, wrong = finished(people, now, 884_200)
    due = DueService.objects.get()
    assert due.last_odometer == 884_200
    page = login("technician").get(f"/vehicles/{bay.job.vehicle_id}/odometer/").content.decode()
    assert f"/readings/{wrong.pk}/correct/" in page
    answer = login("technician").post(f"/readings/{wrong.pk}/correct/", {"reading": "88420"})
    assert answer.status_code == 303
    bay.job.refresh_from_db()
    assert str(bay.job.odometer_out) == "88,420 mi"
    assert str(draft(queries.sheets().get(pk=bay.job.pk), bay.now.date()).job.odometer_out) == "88,420 mi"
    due.refresh_from_db()
    assert (due.last_odometer, due.odometer) == (88_420, 88_420 + (due.every_distance or 0))
    wrong.refresh_from_db()
    assert wrong.disregarded and wrong.right.reading == 88_420
    again = login("technician").post(f"/readings/{wrong.pk}/correct/", {"reading": "88421"})
    assert "was corrected already" in again.content.decode()


def test_an_issued_paper_keeps_its_figure_and_what_is_due_follows(people, now, shop) -> None:
    bay, wrong = finished(people, now, 884_200)
    Job.objects.filter(pk=bay.job.pk).update(stage="invoiced")
    correct_reading(reading=wrong, right=88_420, actor=None, clock=fixed(now))
    bay.job.refresh_from_db()
    assert bay.job.odometer_out == wrong
    assert DueService.objects.get().last_odometer == 88_420


def test_a_lower_reading_that_names_the_earlier_one_mistyped_takes_its_place(people, now, shop) -> None:
    _bay, wrong = finished(people, now, 884_200)
    later = now + dt.timedelta(days=3)
    read_odometer(
        vehicle=wrong.vehicle, reading=88_450, unit="mi", on=later.date(), lower_reason="mistyped", actor=None,
        clock=fixed(later),
    )  # fmt: skip
    wrong.refresh_from_db()
    assert wrong.disregarded and wrong.right.reading == 88_450


def test_a_paper_says_the_whole_of_what_is_doubtful() -> None:
    row = OdometerReading(reading=163_000, unit="mi", condition="not_actual")
    assert odometer_on_paper(row) == "163,000 mi (not actual)"
