"""Laws of the acts on steps: in whatever order and however often they arrive, nothing is drawn twice or lost."""

import random
import uuid
from dataclasses import dataclass
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from garage import promises
from garage.clock import fixed
from garage.errors import Refused
from jobs.actions.draws import draw_for_line
from jobs.actions.steps import act
from jobs.models import JobStep, Line, StepEvent
from jobs.queries import used_on
from parts.models import Container, Item
from tests.jobs.bay_cast import SAMPLE, Bay, in_bay, sure

D = Decimal


@dataclass(frozen=True)
class Sent:
    """An act as a tablet sends it."""

    id: uuid.UUID
    number: int
    kind: str
    base: int
    reading: str


SENT = st.builds(
    Sent,
    st.uuids(version=4),
    st.integers(1, 7),
    st.sampled_from(["tick", "tick", "tick", "untick", "skip", "note"]),
    st.integers(0, 4),
    st.sampled_from(["0.85", "0.7", "13", "16", "3/4 qt", ""]),
)
FRESH = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def bay(shop, people, now) -> Bay:
    """A job whose hold points are confirmed already, so that most acts get through; an act may still untick them."""
    bay = in_bay(people, now, bottles=2)
    bay.do(1)
    bay.do(5)
    return bay


def send(bay: Bay, sent: Sent) -> str:
    """What one act comes to; a refusal keeps nothing and may be sent again."""
    data = {**SAMPLE, "reading": sent.reading, "reason": "as it was", "text": "seen"}
    step = bay.operation.steps.get(position=sent.number)
    try:
        event = act(
            event_id=sent.id,
            step=step,
            kind=sent.kind,
            base_version=sent.base,
            data=data,
            actor=None,
            clock=fixed(bay.now),
        )
    except Refused:
        return "refused"
    return str(event.result["outcome"])


def state_of(bay: Bay) -> tuple[object, ...]:
    steps = list(
        bay.operation.steps.order_by("position").values_list("position", "state", "version", "shortage", "note")
    )
    used = [used_on(line).quantity for line in bay.operation.lines.exclude(item=None).order_by("pk")]
    return steps, used, bay.on_hand(bay.fluid), bay.on_hand(bay.washer)


def check(bay: Bay) -> None:
    """What must hold after any sequence of acts."""
    for item, at_first in ((bay.fluid, D(2)), (bay.washer, D(10))):
        line = bay.operation.lines.get(item=item)
        out = used_on(line).quantity
        assert Item.objects.get(pk=item.pk).on_hand + out == at_first, "what is used and what is there add up"
        assert sum(c.content for c in Container.objects.filter(item=item)) + out == at_first
        assert out >= 0
    fill = bay.step(6)
    poured = sum((reading.value for reading in fill.readings.all()), D(0))
    assert used_on(bay.operation.lines.get(item=bay.fluid)).quantity == min(poured, D(2)), "as much as was poured, once"
    for step in JobStep.objects.filter(operation=bay.operation):
        assert step.readings.count() <= 1
        assert step.state == "done" or not step.readings.exists()
    broken = [breach for _, breaches in promises.run() for breach in breaches]
    assert not broken


@FRESH
@given(st.lists(SENT, max_size=14, unique_by=lambda sent: sent.id), st.randoms(use_true_random=False))
def test_repeats_and_late_arrivals_change_nothing(bay: Bay, acts: list[Sent], chance: random.Random) -> None:
    with transaction.atomic():
        outcomes = {sent.id: send(bay, sent) for sent in acts}
        check(bay)
        before, kept = state_of(bay), StepEvent.objects.count()
        again = [sent for sent in acts if outcomes[sent.id] != "refused"]
        chance.shuffle(again)
        for sent in again:
            assert send(bay, sent) == outcomes[sent.id], "a repeat answers as the first time"
        assert state_of(bay) == before
        assert StepEvent.objects.count() == kept
        check(bay)
        transaction.set_rollback(True)


@FRESH
@given(st.lists(SENT, min_size=2, max_size=10, unique_by=lambda sent: sent.id), st.data())
def test_two_tablets_in_any_order_lose_and_double_nothing(bay: Bay, acts: list[Sent], data: st.DataObject) -> None:
    order = data.draw(st.permutations([*acts, *acts[: len(acts) // 2]]))
    with transaction.atomic():
        before = set(StepEvent.objects.values_list("pk", flat=True))
        taken = {sent.id for sent in order if send(bay, sent) != "refused"}
        sent = StepEvent.objects.exclude(kind="close")  # what an unticked step closes is not sent by a tablet
        assert set(sent.values_list("pk", flat=True)) - before == taken, "every act that was taken is kept"
        check(bay)
        transaction.set_rollback(True)


HANDFUL = st.lists(st.sampled_from([D("0.05"), D("0.2"), D("0.3")]), max_size=3)


@FRESH
@given(HANDFUL, st.sampled_from(["0.6", "0.7", "0.85"]), HANDFUL, st.booleans())
def test_one_need_is_taken_from_the_shelf_once(
    bay: Bay, before: list[Decimal], poured: str, after: list[Decimal], again: bool
) -> None:
    """What was taken by hand before a filling is what it pours; only what is poured beyond it is taken too."""
    with transaction.atomic():
        line = bay.operation.lines.get(item=bay.fluid)
        by_hand(bay, line, before)
        bay.do(6, reading=poured)
        if again:
            bay.do(6, "untick", reason="wrong bottle")
            assert used_on(line).quantity == sum(before, D(0))
            bay.do(6, reading=poured)
        by_hand(bay, line, after)
        assert used_on(line).quantity == max(D(poured), sum(before, D(0))) + sum(after, D(0))
        assert bay.on_hand(bay.fluid) + used_on(line).quantity == 2
        transaction.set_rollback(True)


def by_hand(bay: Bay, line: Line, amounts: list[Decimal]) -> None:
    for amount in amounts:
        sure(draw_for_line, key=uuid.uuid4(), line=line, quantity=amount, actor=bay.technician, clock=fixed(bay.now))
