"""Finishing a job: nothing open, the odometer read, the next service counted from it."""

import datetime as dt
import uuid
from typing import Any

import pytest
from django.urls import reverse

from garage import promises
from garage.actions.vehicles import read_odometer
from garage.clock import fixed
from garage.errors import Refused
from jobs.actions.evidence import Limit, distance_since, note_advisory, settle_advisory
from jobs.actions.finishing import finish_job
from jobs.actions.intake import Odometer
from jobs.actions.writing_up import add_operation
from jobs.models import Advisory, DueService, Job, Procedure, ProcedureNeed, ProcedureRevision
from jobs.queries_due import due_rows
from tests.decided import decide
from tests.jobs.bay_cast import UNGUARDED, Bay, in_bay, look_and_finish


@pytest.fixture
def bay(shop, people, now) -> Bay:
    return in_bay(people, now)


@pytest.fixture
def loose(shop, people, now) -> Bay:
    """A job none of whose steps must be done: each may be skipped."""
    return in_bay(people, now, UNGUARDED)


def finish(bay: Bay, odometer: int = 88412) -> Job:
    return look_and_finish(
        job=bay.job, odometer_out=Odometer(odometer, "mi"), actor=bay.technician, clock=fixed(bay.now)
    )


def test_a_job_with_an_open_step_is_not_finished(bay: Bay) -> None:
    bay.do(1)
    with pytest.raises(Refused, match="6 steps are open, the first is “Drain the fluid”"):
        finish(bay)
    bay.job.refresh_from_db()
    assert bay.job.stage == "in_bay"


def test_a_follow_up_after_too_much_torque_must_be_done_before_the_car_leaves(bay: Bay) -> None:
    bay.do_all()
    bay.do(7, "untick", reason="check again")
    bay.do(7, reading="20", reason="slipped")
    with pytest.raises(Refused, match="Tightened too far"):
        finish(bay)
    bay.do(8)
    assert finish(bay).stage == "finished"


def test_free_work_says_what_was_done(bay: Bay, people, now) -> None:
    bay.do_all()
    wiper = add_operation(job=bay.job, title="Rear wiper", actor=people["owner"], clock=fixed(now))
    decide(operation=wiper, actor=people["owner"], now=now)
    with pytest.raises(Refused, match="Rear wiper: write what was done"):
        finish(bay)


def test_the_odometer_out_is_asked_for_and_may_not_go_back(bay: Bay) -> None:
    bay.do_all()
    with pytest.raises(Refused, match="Record the odometer") as refused:
        look_and_finish(job=bay.job, odometer_out=None, actor=bay.technician, clock=fixed(bay.now))
    assert refused.value.field == "reading"
    with pytest.raises(Refused, match="88,410"):
        finish(bay, 88000)
    assert str(finish(bay).odometer_out) == "88,412 mi"


def test_a_thirty_thousand_mile_interval_is_counted_from_the_odometer_out(bay: Bay) -> None:
    bay.do_all()
    finish(bay)
    due = DueService.objects.get()
    assert (due.odometer, due.every_distance, due.every_months) == (118412, 30000, 36)
    assert due.on == dt.date(2029, 3, 2)
    assert due.because == "time"


def test_after_eleven_thousand_of_thirty_thousand_miles_nineteen_thousand_are_left(bay: Bay, login, now) -> None:
    bay.do_all()
    finish(bay)
    later = now + dt.timedelta(days=300)
    read_odometer(
        vehicle=bay.vehicle, reading=99412, unit="mi", on=later.date(), actor=bay.technician, clock=fixed(later)
    )
    row = due_rows(DueService.objects.all(), later.date())[0]
    assert row.left == 19000
    assert not row.overdue
    page = login("counter").get(reverse("jobs:due") + "?within=all").content.decode()
    assert "19,000 mi" in page
    assert "118,412 mi" in page
    assert distance_since(bay.vehicle, bay.component, 99412, "mi") == 11000


def test_a_replaced_odometer_moves_what_is_due_with_it(bay: Bay) -> None:
    """118,412 mi on the old odometer is 30,002 mi on one that began at 2 when the old one stood at 88,412."""
    bay.do_all()
    finish(bay)
    soon, later = (bay.now + dt.timedelta(days=days) for days in (10, 300))
    read_odometer(
        vehicle=bay.vehicle,
        reading=2,
        unit="mi",
        on=soon.date(),
        lower_reason="replaced",
        before=88412,
        actor=bay.technician,
        clock=fixed(soon),
    )
    read_odometer(
        vehicle=bay.vehicle, reading=11002, unit="mi", on=later.date(), actor=bay.technician, clock=fixed(later)
    )
    row = due_rows(DueService.objects.all(), later.date())[0]
    assert (row.at, row.left) == (30002, 19000)


def test_a_service_replaces_what_another_procedure_left_due_on_the_same_fluid(bay: Bay) -> None:
    operation = bay.job.operations.get()
    assert operation.revision is not None
    other = Procedure.objects.create(title="Repeated exchange", component=bay.component)
    revision = ProcedureRevision.objects.create(procedure=other, number=1, hours=1, every_months=12)
    fluid = operation.revision.needs.get(item__kind="fluid").item
    ProcedureNeed.objects.create(revision=revision, item=fluid, quantity=1)
    Procedure.objects.filter(pk=other.pk).update(current=revision)
    last = bay.now.date()
    DueService.objects.create(
        vehicle=bay.vehicle,
        component=bay.component,
        procedure=other,
        operation=operation,
        last_on=last,
        every_months=12,
        unit="mi",
        on=last,
        because="time",
    )
    bay.do_all()
    finish(bay)
    assert [due.procedure for due in DueService.objects.all()] == [operation.revision.procedure]


def test_a_service_whose_steps_were_all_left_out_sets_no_next_date(loose: Bay) -> None:
    for number in range(1, 8):
        loose.do(number, "skip", reason="customer changed their mind")
    finish(loose)
    assert not DueService.objects.exists()


def test_a_service_whose_fill_was_skipped_keeps_the_due_date_it_had(bay: Bay, login) -> None:
    """All else was ticked: the drive, the level, the torque. The fluid is the old one all the same."""
    old = due_before(bay)
    advisory = note_advisory(
        key=uuid.uuid4(), job=bay.job, text="Fluid dark", limit=Limit("next"), actor=None, clock=fixed(bay.now)
    )
    Advisory.objects.filter(pk=advisory.pk).update(state="offered", operation=bay.operation)
    bay.do_all()
    bay.do(6, "untick", reason="it is all on the floor")
    bay.do(6, "skip", reason="no fluid left on the shelf")
    browser, address = login("technician"), reverse("jobs:bay-finish", args=[bay.job.pk])
    assert "Not counted as done" in browser.get(address).content.decode()
    answer = browser.post(address, {"look": "on", "reading": "88412", "unit": "mi"}, follow=True).content.decode()
    assert "Not counted as done: Transfer case fluid, change: “Fill to the edge” was skipped." in answer
    due = DueService.objects.get()
    assert (due.pk, due.on, due.operation_id) == (old.pk, old.on, old.operation_id)
    advisory.refresh_from_db()
    assert advisory.state == "open"
    assert not [breach for _, breaches in promises.run() for breach in breaches]


def test_a_service_that_was_not_served_leaves_what_another_procedure_has_due(loose: Bay) -> None:
    other = Procedure.objects.create(title="Repeated exchange", component=loose.component)
    revision = ProcedureRevision.objects.create(procedure=other, number=1, hours=1, every_months=12)
    ProcedureNeed.objects.create(revision=revision, item=loose.fluid, quantity=1)
    Procedure.objects.filter(pk=other.pk).update(current=revision)
    due_before(loose, other)
    loose.do(1)
    loose.do(2, reading="0.82")
    loose.do(5)
    for number in (3, 4, 6, 7):
        loose.do(number, "skip", reason="the threads are gone")
    finish(loose)
    assert [due.procedure for due in DueService.objects.all()] == [other]


def test_a_step_left_out_that_is_not_the_substance_does_not_stop_the_service_from_counting(bay: Bay) -> None:
    bay.do_all()
    bay.do(3, "untick", reason="wrong card")
    bay.do(3, "skip", reason="it was poured away")
    finish(bay)
    assert DueService.objects.get().odometer == 118412


def test_a_finished_service_whose_fill_is_undone_takes_its_next_date_back(bay: Bay) -> None:
    bay.do_all()
    finish(bay)
    assert DueService.objects.count() == 1
    Job.objects.filter(pk=bay.job.pk).update(stage="in_bay")
    bay.do(6, "untick", reason="it was another car")
    bay.do(6, "skip", reason="it was another car")
    bay.operation.refresh_from_db()
    assert bay.operation.finished_at is None  # it is to be finished again
    finish(bay)
    assert not DueService.objects.exists()


def due_before(bay: Bay, procedure: Procedure | None = None) -> DueService:
    """What an earlier visit left due, a year from today."""
    on = bay.now.date()
    earlier = add_operation(job=bay.job, title="Of an earlier visit", actor=bay.technician, clock=fixed(bay.now))
    return DueService.objects.create(
        vehicle=bay.vehicle,
        component=bay.component,
        procedure=procedure or bay.revision.procedure,
        operation=earlier,
        last_on=on,
        every_months=12,
        unit="mi",
        on=on.replace(year=on.year + 1),
        because="time",
    )


def test_finishing_twice_changes_nothing(bay: Bay) -> None:
    bay.do_all()
    first = finish(bay)
    out = Odometer(88412, "mi")
    second = finish_job(job=bay.job, odometer_out=out, actor=bay.technician, clock=fixed(bay.now))
    assert first.odometer_out_id == second.odometer_out_id
    assert bay.vehicle.readings.count() == 2


def test_an_advisory_that_was_taken_up_is_settled_when_its_work_is_done(bay: Bay) -> None:
    advisory = note_advisory(
        key=uuid.uuid4(),
        job=bay.job,
        text="Seal sweats",
        limit=Limit("next"),
        actor=bay.technician,
        clock=fixed(bay.now),
    )
    Advisory.objects.filter(pk=advisory.pk).update(state="offered", operation=bay.operation)
    bay.do_all()
    finish(bay)
    advisory.refresh_from_db()
    assert advisory.state == "settled"


def test_an_advisory_by_distance_needs_its_distance(bay: Bay) -> None:
    keep: dict[str, Any] = {"job": bay.job, "text": "Pads at 3 mm", "actor": bay.technician, "clock": fixed(bay.now)}
    with pytest.raises(Refused, match="within which distance"):
        note_advisory(key=uuid.uuid4(), limit=Limit("distance"), **keep)
    with pytest.raises(Refused, match="Choose the day"):
        note_advisory(key=uuid.uuid4(), limit=Limit("date", day=dt.date(2020, 1, 1)), **keep)
    key = uuid.uuid4()
    first = note_advisory(key=key, limit=Limit("distance", 91000), **keep)
    assert note_advisory(key=key, limit=Limit("distance", 91000), **keep).pk == first.pk
    assert settle_advisory(advisory=first, state="settled", actor=None, clock=fixed(bay.now)).state == "settled"


def test_every_promise_of_the_jobs_holds_and_each_breach_is_found(bay: Bay) -> None:
    bay.do_all()
    bay.do(6, "untick", reason="again")
    bay.do(6, reading="0.85")
    finish(bay)
    assert not [breach for _, breaches in promises.run() for breach in breaches]
    bay.operation.steps.filter(position=2).update(version=9, state="open")
    bay.step(4).readings.update(verdict="high", reason="x")
    DueService.objects.update(odometer=1)
    broken = {name for name, breaches in promises.run() if breaches}
    assert broken == {
        "every act on a step is counted once",
        "readings agree with their limits",
        "finished work has no open step",
        "services are due after their interval",
    }
