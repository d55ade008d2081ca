"""Acts on steps: what is drawn, what holds, what is refused, and that a repeat changes nothing."""

import uuid
from decimal import Decimal
from typing import Any

import pytest

from garage.clock import fixed
from garage.errors import Refused
from garage.ledger import breaks
from jobs.actions.steps import act
from jobs.models import JobStep, StepEvent
from jobs.queries import used_on
from parts.models import Container, Movement
from tests.decided import decide
from tests.jobs.bay_cast import PROCEDURE, SAMPLE, Bay, in_bay, outcome

D = Decimal


@pytest.fixture
def bay(shop, people, now) -> Bay:
    return in_bay(people, now)


def test_filling_draws_what_was_poured_and_leaves_the_rest_in_an_open_container(bay: Bay) -> None:
    bay.do(1)
    bay.do(2, reading="0.82")
    bay.do(5)
    bay.do(6, reading="0.85")
    assert bay.on_hand(bay.fluid) == D("2.15")
    opened = Container.objects.get(item=bay.fluid, opened_at__isnull=False)
    assert opened.content == D("0.15")
    line = bay.operation.lines.get(item=bay.fluid)
    assert used_on(line).quantity == D("0.85")


def test_a_quantity_may_be_typed_in_quarts(bay: Bay) -> None:
    bay.do(1)
    bay.do(5)
    bay.do(6, reading="3/4 qt")
    # 0.75 x 0.946352946 L, rounded half-up to nine places (NIST Handbook 44, Appendix C).
    assert bay.on_hand(bay.fluid) == D("3") - D("0.709764710")
    assert bay.step(6).readings.get().typed == "3/4 qt"


def test_a_repeat_of_an_act_changes_nothing(bay: Bay) -> None:
    bay.do(1)
    bay.do(5)
    event = uuid.uuid4()
    first = bay.do(6, event=event, reading="0.85")
    again = bay.do(6, event=event, reading="0.85")
    assert first.pk == again.pk
    assert bay.on_hand(bay.fluid) == D("2.15")
    assert bay.step(6).version == 1


def test_a_vehicle_must_be_level_before_filling(bay: Bay) -> None:
    """Common practice, no source: a tilted case takes too little or too much."""
    bay.do(1)
    with pytest.raises(Refused, match="Vehicle level on its wheels"):
        bay.do(6, reading="0.85")
    assert bay.step(6).state == "open"
    bay.do(5)
    assert outcome(bay.do(6, reading="0.85")) == "applied"


def test_a_fill_plug_that_does_not_open_keeps_the_drain_closed(bay: Bay) -> None:
    """Common practice, no source: who drains first and cannot fill has a car that cannot be driven."""
    with pytest.raises(Refused, match="Fill plug opens freely"):
        bay.do(2, reading="0.82")


def test_an_ordinary_step_is_skipped_only_with_a_reason(bay: Bay) -> None:
    bay.do(1)
    with pytest.raises(Refused, match="why"):
        bay.do(3, "skip")
    bay.do(3, "skip", reason="poured away before it was looked at")
    assert bay.step(3).reason == "poured away before it was looked at"


def test_torque_below_its_limit_is_refused_where_the_step_says_so(bay: Bay) -> None:
    bay.do(1)
    with pytest.raises(Refused, match="below the limit of 12") as refused:
        bay.do(4, reading="11", reason="felt right")
    assert refused.value.field == "reading"
    assert not bay.step(4).readings.exists()


def test_torque_past_its_limit_always_asks_and_puts_a_check_on_the_job(bay: Bay) -> None:
    bay.do(1)
    with pytest.raises(Refused, match="above the limit of 14") as refused:
        bay.do(4, reading="16")
    assert refused.value.field == "reason"
    bay.do(4, reading="16", reason="wrench was set in the wrong unit")
    step = bay.step(4)
    assert step.state == "done"
    assert "Tightened to 16" in step.note
    follow_up = step.follow_ups.get()
    assert follow_up.position == 8
    assert follow_up.state == "open"


def test_torque_may_be_read_in_the_other_unit(bay: Bay) -> None:
    bay.do(1)
    bay.do(4, reading="17.6 Nm")
    reading = bay.step(4).readings.get()
    assert reading.unit == "ft_lb"
    assert round(reading.value, 2) == D("12.98")
    assert reading.verdict == "ok"


def test_a_reading_outside_may_stand_with_a_reason(bay: Bay) -> None:
    bay.do(1)
    bay.do(5)
    with pytest.raises(Refused, match="Write why"):
        bay.do(6, reading="0.5")
    bay.do(6, reading="0.5", reason="some was left in the case")
    assert bay.step(6).readings.get().reason == "some was left in the case"


def test_a_step_with_a_reading_is_not_ticked_without_it(bay: Bay) -> None:
    bay.do(1)
    with pytest.raises(Refused, match="Type what was read"):
        bay.do(4)


def test_two_steps_with_one_pair_of_washers_draw_it_once(bay: Bay) -> None:
    bay.do_all()
    assert bay.on_hand(bay.washer) == D("8")


def test_unticking_gives_back_what_the_step_drew(bay: Bay) -> None:
    bay.do(1)
    bay.do(5)
    bay.do(6, reading="0.85")
    with pytest.raises(Refused, match="why"):
        bay.do(6, "untick")
    bay.do(6, "untick", reason="read the wrong bottle")
    assert bay.on_hand(bay.fluid) == D("3")
    assert bay.step(6).state == "open"
    assert not bay.step(6).readings.exists()
    assert not list(breaks(Movement))


def test_what_the_shelf_lacks_stands_on_the_step(shop, people, now) -> None:
    bay = in_bay(people, now, PROCEDURE.replace("to: 1, outside", "to: 3, outside").replace("0.95 L", "3 L"), bottles=1)
    bay.do(1)
    bay.do(5)
    event = bay.do(6, reading="1.5")
    assert outcome(event) == "applied"
    lacked = "1.500 L · 1.585 qt of Transfer case fluid used, the shelf lacked 0.500 L · 0.528 qt of it."
    assert bay.step(6).shortage == lacked
    assert bay.on_hand(bay.fluid) == 0


def test_two_tablets_with_different_readings_conflict_and_the_first_stands(bay: Bay) -> None:
    bay.do(1)
    bay.do(5)
    bay.do(6, base=0, reading="0.85")
    event = bay.do(6, base=0, reading="0.70")
    assert outcome(event) == "conflict"
    assert "Technician Test did “Fill to the edge” meanwhile with 0.85" in event.result["sentence"]
    assert bay.on_hand(bay.fluid) == D("2.15")
    assert StepEvent.objects.filter(step=bay.step(6)).count() == 2


def test_two_tablets_with_the_same_tick_agree(bay: Bay) -> None:
    bay.do(1, base=0)
    assert outcome(bay.do(1, base=0)) == "same"
    assert bay.step(1).version == 1


def test_an_untick_from_an_older_view_does_not_undo_a_newer_tick(bay: Bay) -> None:
    bay.do(1)
    bay.do(1, "untick", reason="not yet")
    bay.do(1)
    assert outcome(bay.do(1, "untick", base=1, reason="late message")) == "conflict"
    assert bay.step(1).state == "done"


def test_notes_are_never_lost(bay: Bay) -> None:
    bay.do(1, "note", text="Plug was tight")
    bay.do(1, "note", base=0, text="Boot is cracked")
    assert bay.step(1).note == "Plug was tight\nBoot is cracked"


def test_nothing_is_done_on_work_that_is_not_authorized(bay: Bay) -> None:
    decide(operation=bay.operation, decision="withdrawn", actor=bay.technician, now=bay.now)
    with pytest.raises(Refused, match="not authorized"):
        bay.do(1)


def test_a_job_is_started_before_its_steps(bay: Bay) -> None:
    bay.job.stage = "ready"
    bay.job.save()
    with pytest.raises(Refused, match="start it first"):
        bay.do(1)


def test_the_sample_is_kept_with_its_verdict_and_the_volume_that_came_out(bay: Bay) -> None:
    bay.do(1)
    bay.do(2, reading="0.82")
    bay.do(3, **{**SAMPLE, "smell": "burnt"})
    sample = bay.step(3).sample
    assert sample.verdict == "spent"
    assert sample.volume_out == D("0.82")
    assert sample.odometer == 88410
    bay.do(3, "untick", reason="look again")
    with pytest.raises(Refused, match="looks like: clarity, particles, smell"):
        bay.do(3, color="brown")


def test_four_changes_of_seven_tenths_of_a_liter_draw_two_point_eight(shop, people, now) -> None:
    """Common practice, no source: a gearbox that keeps most of its fluid is drained and filled several times."""
    change = """
  - {kind: drain, title: Drain}
  - {kind: fill, title: Fill, uses: fluid, reading: {name: filled in, unit: L, target: 0.7}}"""
    text = PROCEDURE.partition("steps:")[0].replace("0.85 L", "2.8 L") + "steps:" + change * 4
    bay = in_bay(people, now, text.replace("capacity: 0.95 L", "capacity: 2 L"))
    for number in range(1, 9):
        bay.do(number, reading="0.7 L")
    assert bay.on_hand(bay.fluid) == D("0.2")
    assert used_on(bay.operation.lines.get(item=bay.fluid)).quantity == D("2.8")


def test_a_step_event_of_one_device_is_kept_once_by_its_number(bay: Bay) -> None:
    step = bay.step(1)
    keep: dict[str, Any] = {
        "step": step,
        "kind": "note",
        "base_version": 0,
        "device": "tab",
        "seq": 7,
        "actor": None,
        "clock": fixed(bay.now),
    }
    act(event_id=uuid.uuid4(), data={"text": "one"}, **keep)
    with pytest.raises(Refused, match="another act"):
        act(event_id=uuid.uuid4(), data={"text": "two"}, **keep)
    assert JobStep.objects.get(pk=step.pk).note == "one"
