"""Steps that hold others, the ways out of a step that must be done, and the final look: by the verbs."""

import datetime as dt
import uuid
from typing import Any

import pytest

from garage import promises
from garage.clock import fixed
from garage.errors import Refused
from garage.models import AuditEntry, ShopProfile
from jobs.actions.draws import draw_for_line, return_from_line
from jobs.actions.evidence import settle_advisory
from jobs.actions.final_look import take_final_look
from jobs.actions.finishing import finish_job
from jobs.actions.intake import Odometer
from jobs.actions.not_done import reopen_not_done, take_car
from jobs.actions.stages import cancel_job, start_job
from jobs.actions.steps import act
from jobs.actions.writing_up import add_operation
from jobs.models import Advisory, DueService, NotDone, Operation, StepEvent
from jobs.queries import used_on
from tests.decided import decide
from tests.jobs.bay_cast import SAMPLE, UNGUARDED, Bay, in_bay, outcome

NEEDS = (
    UNGUARDED.replace("    tool: 10 mm hex\n", "    tool: 10 mm hex\n    name: drain plug\n").replace(
        "    uses: fluid\n", "    uses: fluid\n    name: fill\n    needs: [drain plug]\n"
    )
    + "  - title: Drive a short way\n    needs: [fill]\n"
)


@pytest.fixture
def bay(shop, people, now) -> Bay:
    return in_bay(people, now)


@pytest.fixture
def needs(shop, people, now) -> Bay:
    """A procedure without hold points: filling needs the drain plug, the drive needs the filling."""
    return in_bay(people, now, NEEDS)


def confirm(bay: Bay, number: int, second: Any, **data: Any) -> StepEvent:
    step = bay.step(number)
    return act(
        event_id=uuid.uuid4(),
        step=step,
        kind="confirm",
        base_version=step.version,
        data=data,
        confirmed_by=second,
        actor=bay.technician,
        clock=fixed(bay.now),
    )


def look(bay: Bay, actor: Any = None, **more: Any) -> None:
    take_final_look(job=bay.job, actor=actor or bay.technician, clock=fixed(bay.now), **more)


def finish(bay: Bay) -> str:
    out = Odometer(88412, "mi")
    return finish_job(job=bay.job, odometer_out=out, actor=bay.technician, clock=fixed(bay.now)).stage


def word(bay: Bay, **said: Any) -> Any:
    given: dict[str, Any] = {
        "who": "Odile Marrant",
        "how": "phone",
        "said_at": bay.now,
        "words": "I know, I take it home.",
    } | said
    return take_car(job=bay.job, **given, actor=bay.technician, clock=fixed(bay.now))


# What a step needs


def test_filling_waits_for_the_drain_plug(needs: Bay) -> None:
    """Common practice, no source: oil that is filled with the drain plug loose runs onto the floor."""
    with pytest.raises(Refused, match="First do step 4, “Tighten the drain plug”: this step needs it"):
        needs.do(6, reading="0.85")
    assert needs.on_hand(needs.fluid) == 3
    needs.do(4, reading="13")
    assert outcome(needs.do(6, reading="0.85")) == "applied"


def test_a_step_that_another_needs_is_not_skipped(needs: Bay) -> None:
    with pytest.raises(Refused, match="Other steps need “Tighten the drain plug”"):
        needs.do(4, "skip", reason="looked tight")
    needs.do(7, "skip", reason="nobody needs this one")


def test_a_hold_point_and_a_step_whose_limits_refuse_are_not_skipped(bay: Bay) -> None:
    with pytest.raises(Refused, match="must be checked and cannot be skipped"):
        bay.do(1, "skip", reason="opened last week")
    bay.do(1)
    with pytest.raises(Refused, match="The limits of “Tighten the drain plug” must be kept"):
        bay.do(4, "skip", reason="no wrench")


def test_a_reopened_step_closes_what_stands_on_it_and_what_stands_on_that(needs: Bay) -> None:
    needs.do_all()
    needs.do(8)
    needs.do(4, "untick", reason="washer left out")
    assert [step.position for step in needs.operation.steps.filter(again=True)] == [6, 8]
    with pytest.raises(Refused, match="First do step 4"):
        needs.do(6)
    needs.do(4, reading="13")
    with pytest.raises(Refused, match="First confirm step 6, “Fill to the edge”, again"):
        needs.do(8)
    needs.do(6)
    needs.do(8)
    assert not needs.operation.steps.filter(again=True).exists()
    assert not [breach for _, breaches in promises.run() for breach in breaches]


def test_a_reopened_hold_point_closes_every_later_step(bay: Bay) -> None:
    bay.do_all()
    bay.do(5, "untick", reason="the lift sank")
    assert [step.position for step in bay.operation.steps.filter(again=True)] == [6, 7]
    bay.do(5)
    with pytest.raises(Refused, match="confirm step 6, “Fill to the edge”, again"):
        look(bay)
    with pytest.raises(Refused, match="confirm step 6, “Fill to the edge”, again"):
        finish(bay)


def test_a_step_confirmed_again_keeps_its_reading_or_takes_another_and_draws_once(bay: Bay) -> None:
    bay.do_all()
    line = bay.operation.lines.get(item=bay.fluid)
    bay.do(5, "untick", reason="the lift sank")
    bay.do(5)
    bay.do(6)
    assert [str(reading.value.normalize()) for reading in bay.step(6).readings.all()] == ["0.85"]
    assert str(used_on(line).quantity.normalize()) == "0.85"
    bay.do(7, reading="12.5")
    assert [reading.typed for reading in bay.step(7).readings.all()] == ["12.5"]
    bay.do(5, "untick", reason="the lift sank once more")
    bay.do(5)
    bay.do(6, reading="0.9")
    assert [reading.typed for reading in bay.step(6).readings.all()] == ["0.9"]
    assert str(used_on(line).quantity.normalize()) == "0.9", "as much as was poured, not poured twice"
    assert bay.on_hand(bay.washer) == 8


def test_a_tick_from_before_the_reopening_does_not_confirm_again(bay: Bay) -> None:
    bay.do_all()
    seen = bay.step(6).version
    bay.do(5, "untick", reason="the lift sank")
    bay.do(5)
    late = bay.do(6, base=seen, reading="0.85")
    assert outcome(late) == "conflict" and "reopened meanwhile" in late.result["sentence"]
    assert bay.step(6).again


# A second person


def test_a_second_person_confirms_what_cannot_be_done_as_written(bay: Bay, people) -> None:
    bay.do(1)
    with pytest.raises(Refused, match="above the limit|limit"):
        bay.do(4, reading="16")
    confirm(bay, 4, people["owner"], reading="16", reason="New plug, the maker says 16 for it")
    step = bay.step(4)
    assert (step.state, step.confirmed_by, step.confirmed_why) == (
        "done",
        people["owner"],
        "New plug, the maker says 16 for it",
    )
    assert step.by == bay.technician
    assert step.readings.get().reason == "New plug, the maker says 16 for it"
    bay.do(4, "untick", reason="once more")
    assert bay.step(4).confirmed_by is None


def test_the_second_person_is_somebody_else_who_works_here_and_says_why(bay: Bay, people) -> None:
    for second, reason, said in (
        (bay.technician, "fine", "must be somebody else"),
        (people["reader"], "fine", "who works here"),
        (None, "fine", "who works here"),
        (people["owner"], "", "Write why"),
    ):
        with pytest.raises(Refused, match=said):
            confirm(bay, 1, second, reason=reason)
    people["owner"].is_active = False
    people["owner"].save()
    with pytest.raises(Refused, match="who works here"):
        confirm(bay, 1, people["owner"], reason="fine")
    assert bay.step(1).state == "open"


def test_a_second_person_does_not_go_past_what_holds_the_step_nor_is_asked_for_an_ordinary_one(
    bay: Bay, people
) -> None:
    with pytest.raises(Refused, match="First confirm step 1"):
        confirm(bay, 4, people["owner"], reason="fine")
    bay.do(1)
    with pytest.raises(Refused, match="needs no second person"):
        confirm(bay, 3, people["owner"], reason="fine")


# Work that ends as not done


def test_what_cannot_be_done_ends_the_operation_and_is_recommended_before_driving(bay: Bay) -> None:
    bay.do(1)
    bay.do(2, reading="0.82")
    bay.do(4, "cannot", reason="the threads are stripped")
    bay.operation.refresh_from_db()
    ended = bay.operation.not_done
    assert ended is not None and (ended.why, ended.step, ended.by) == (
        "the threads are stripped",
        bay.step(4),
        bay.technician,
    )
    advisory = Advisory.objects.get()
    assert (advisory.limit, advisory.vehicle) == ("driving", bay.vehicle)
    assert advisory.text == "Transfer case fluid, change was not done: the threads are stripped"
    for kind in ("tick", "untick", "skip", "cannot"):
        with pytest.raises(Refused, match="ended as not done"):
            bay.do(4, kind, reading="13", reason="after all")
    look(bay)
    assert finish(bay) == "finished"
    assert not DueService.objects.exists()
    assert not [breach for _, breaches in promises.run() for breach in breaches]


def test_it_needs_a_reason_with_room_for_it(bay: Bay) -> None:
    with pytest.raises(Refused, match="Write why it can’t be done"):
        bay.do(1, "cannot", reason="  ")
    with pytest.raises(Refused, match="say it shorter"):
        bay.do(1, "cannot", reason="x" * 199)
    assert not NotDone.objects.exists() and not Advisory.objects.exists()


def test_a_service_whose_last_check_cannot_be_done_does_not_count(shop, people, now) -> None:
    """The fluid is in, but the drive that shows whether it stays in was not made."""
    bay = in_bay(people, now, NEEDS)
    bay.do_all()
    bay.do(8, "cannot", reason="it drips at the seal")
    look(bay)
    assert finish(bay) == "finished"
    assert not DueService.objects.exists()


def test_nothing_more_is_taken_for_it_and_what_is_left_goes_back(bay: Bay) -> None:
    line = bay.operation.lines.get(item=bay.fluid)
    who: dict[str, Any] = {"actor": bay.technician, "clock": fixed(bay.now)}
    draw_for_line(key=uuid.uuid4(), line=line, quantity=line.base_quantity, typed="0.85", **who)
    bay.do(1, "cannot", reason="the plug is seized")
    line.refresh_from_db()
    with pytest.raises(Refused, match="nothing more is taken"):
        draw_for_line(key=uuid.uuid4(), line=line, quantity=line.base_quantity, typed="0.85", **who)
    return_from_line(key=uuid.uuid4(), line=line, quantity=line.base_quantity, typed="0.85", **who)
    assert bay.on_hand(bay.fluid) == 3


def test_it_can_be_reopened_with_a_reason_while_the_car_is_in_the_bay(bay: Bay) -> None:
    bay.do(1)
    bay.do(2, "cannot", reason="no pan")
    who: dict[str, Any] = {"actor": bay.technician, "clock": fixed(bay.now)}
    with pytest.raises(Refused, match="Write why it is reopened"):
        reopen_not_done(operation=bay.operation, reason="", **who)
    reopen_not_done(operation=bay.operation, reason="a pan was found", **who)
    ended = NotDone.objects.get()
    assert (ended.undone_by, ended.undone_why) == (bay.technician, "a pan was found")
    assert Advisory.objects.get().state == "declined"
    assert outcome(bay.do(2, reading="0.82")) == "applied"
    bay.do(4, "cannot", reason="the threads are stripped")
    assert NotDone.objects.filter(undone_at=None).get().why == "the threads are stripped"
    look(bay)
    finish(bay)
    with pytest.raises(Refused, match="no longer reopened"):
        reopen_not_done(operation=bay.operation, reason="late", **who)


def test_what_was_finished_as_not_done_and_is_reopened_is_to_be_finished_again(bay: Bay, people) -> None:
    bay.do(1)
    bay.do(2, "cannot", reason="no pan")
    look(bay)
    assert finish(bay) == "finished"
    who: dict[str, Any] = {"actor": people["owner"], "clock": fixed(bay.now)}
    wiper = add_operation(job=bay.job, title="Rear wiper", **who)
    decide(operation=wiper, actor=people["owner"], now=bay.now)
    bay.job.refresh_from_db()
    start_job(job=bay.job, technician=bay.technician, **who)
    assert Operation.objects.get(pk=bay.operation.pk).finished_at is not None
    reopen_not_done(operation=bay.operation, reason="a pan was found", **who)
    assert Operation.objects.get(pk=bay.operation.pk).finished_at is None
    decide(operation=wiper, decision="declined", reason="not today", actor=people["owner"], now=bay.now)
    bay.job.refresh_from_db()
    assert bay.job.stage == "in_bay", "its steps are open: it is not finished because the other work was declined"
    with pytest.raises(Refused, match="^Transfer case fluid, change"):
        finish(bay)


def test_the_customers_word_is_asked_in_full(bay: Bay) -> None:
    bay.do(1, "cannot", reason="the plug is seized")
    tomorrow = bay.now + dt.timedelta(days=1)
    for said, field in (
        ({"who": " "}, "who"),
        ({"how": ""}, "how"),
        ({"said_at": None}, "said_at"),
        ({"said_at": tomorrow}, "said_at"),
        ({"words": ""}, "words"),
    ):
        with pytest.raises(Refused) as refused:
            word(bay, **said)
        assert refused.value.field == field
    taken = word(bay)
    assert NotDone.objects.get().taken == taken and taken.by == bay.technician
    with pytest.raises(Refused, match="no work that was not done"):
        word(bay)


def test_a_visit_is_not_called_off_without_the_customers_word(bay: Bay) -> None:
    who: dict[str, Any] = {"actor": bay.technician, "clock": fixed(bay.now)}
    bay.do(1, "cannot", reason="the plug is seized")
    with pytest.raises(Refused, match="record the customer’s word"):
        cancel_job(job=bay.job, reason="they come back", **who)
    word(bay)
    assert cancel_job(job=bay.job, reason="they come back", **who).stage == "canceled"


def test_a_tap_that_marks_the_recommendation_done_does_not_spare_the_word(bay: Bay) -> None:
    who: dict[str, Any] = {"actor": bay.technician, "clock": fixed(bay.now)}
    bay.do(1, "cannot", reason="the plug is seized")
    settle_advisory(advisory=Advisory.objects.get(), state="settled", **who)
    with pytest.raises(Refused, match="record the customer’s word"):
        cancel_job(job=bay.job, reason="they come back", **who)


# The final look


def test_a_job_is_not_finished_without_a_final_look(bay: Bay) -> None:
    bay.do_all()
    with pytest.raises(Refused, match="Take the final look first: plugs and filter tight and dry") as refused:
        finish(bay)
    assert refused.value.field == "look"
    look(bay)
    assert bay.job.final_looks.get().by == bay.technician
    assert finish(bay) == "finished"


def test_the_final_look_is_not_taken_while_a_step_is_open(bay: Bay) -> None:
    bay.do(1)
    with pytest.raises(Refused, match="6 steps are open"):
        look(bay)


@pytest.mark.parametrize("later", ["untick and tick", "note", "work added"])
def test_any_later_act_takes_the_final_look_away(bay: Bay, people, later: str) -> None:
    bay.do_all()
    look(bay)
    if later == "untick and tick":
        bay.do(3, "untick", reason="wrong card")
        bay.do(3, **SAMPLE)
    elif later == "note":
        bay.do(7, "note", text="it weeps a little")
    else:
        add_operation(job=bay.job, title="Rear wiper", actor=people["owner"], clock=fixed(bay.now))
    with pytest.raises(Refused, match="final look"):
        finish(bay)
    look(bay)
    assert finish(bay) == "finished"


def test_where_the_shop_asks_for_another_person_the_owner_alone_may_look_with_a_reason(bay: Bay, people) -> None:
    ShopProfile.objects.update(second_look=True)
    bay.do_all()
    with pytest.raises(Refused, match="Another person takes the final look here"):
        look(bay)
    look(bay, people["counter"])
    bay.do(3, "untick", reason="wrong card")
    step = bay.step(3)
    act(
        event_id=uuid.uuid4(), step=step, kind="tick", base_version=step.version, data=SAMPLE,
        actor=people["owner"], clock=fixed(bay.now),
    )  # fmt: skip
    with pytest.raises(Refused, match="Write why nobody else"):
        look(bay, people["owner"])
    look(bay, people["owner"], reason="alone on Saturdays")
    last = bay.job.final_looks.last()
    assert last is not None and (last.by, last.reason) == (people["owner"], "alone on Saturdays")
    assert finish(bay) == "finished"


def test_no_password_is_kept_anywhere(bay: Bay, people) -> None:
    confirm(bay, 1, people["owner"], reason="seen by both")
    event = StepEvent.objects.get(kind="confirm")
    assert event.data == {"reason": "seen by both"}
    entry = AuditEntry.objects.get(verb="confirmed by a second person")
    assert entry.told["confirmed_by"] == people["owner"].pk and "password" not in str(entry.told)
