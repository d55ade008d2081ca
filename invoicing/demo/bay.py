"""Working through the steps of an operation as a technician does: reading, looking, pouring, tightening."""

import datetime as dt
import random
import uuid
from collections.abc import Mapping, Sequence
from decimal import Decimal

from garage.asking import INSTEAD, answer_to
from garage.clock import fixed
from garage.errors import Questions
from garage.models import User
from garage.numbers import round_half_up
from invoicing.demo.garage import Garage, Script
from invoicing.demo.names import AMBER, DAMP, FADED, Look
from jobs.actions.evidence import answer_sample
from jobs.actions.steps import act
from jobs.fluids import BRAKE, COOLANT
from jobs.models import FluidSample, JobStep, Operation, ProcedureStep

Kind = ProcedureStep.Kind
#: What a customer says who is told of a bad sample and still wants the new fluid in.
GO_ON = "Fill it, and look at it again next time."
USUAL = {COOLANT: FADED, BRAKE: DAMP}  #: seen of a fluid that nothing is said of; oil is amber
D = Decimal


def work_through(
    garage: Garage,
    operation: Operation,
    *,
    by: User,
    start: dt.datetime,
    dice: random.Random,
    looks: Sequence[Look] = (),
    said: Mapping[str, Mapping[str, str]] | None = None,
    distance: int | None = None,
    up_to: str = "",
) -> Script:
    """Tick every step in its order, minutes apart, up to the one titled `up_to`.

    `looks` are what is seen at the sample steps, in order; `said` is what is typed at a step, by its title, in place
    of an ordinary reading; `distance` is what the owner says is on the fluid, where the book does not know.
    """
    now, seen = start, iter(looks)
    steps = list(operation.steps.select_related("written__need", "written__revision"))
    for step in steps:
        if step.title == up_to:
            return
        now += dt.timedelta(minutes=dice.randint(2, 7))
        yield now
        typed = (said or {}).get(step.title)
        data = dict(typed) if typed else reading_at(step, dice)
        if step.written is not None and step.written.kind == Kind.SAMPLE:
            data |= next(seen, USUAL.get(step.written.revision.fluid_kind, AMBER))
            data |= {"distance": str(distance)} if distance else {}
        tick(garage, step, data, by=by, now=now)
    for step in operation.steps.filter(state=JobStep.State.OPEN):  # what a reading past its limit asked for
        now += dt.timedelta(minutes=5)
        yield now
        tick(garage, step, {}, by=by, now=now)


def tick(garage: Garage, step: JobStep, data: Mapping[str, str], *, by: User, now: dt.datetime) -> None:
    """Tick one step; one that says why it cannot be done is skipped."""
    kind = "skip" if "skip" in data else "tick"
    words = {"reason": data["skip"]} if kind == "skip" else data
    event = garage.key()
    try:
        _act(event, step, kind, words, by, now)
    except Questions as asked:  # an opened bottle that has stood too long: a new one
        answers = f"{answer_to(asked.questions)} {INSTEAD}" if asked.instead else answer_to(asked.questions)
        _act(event, step, kind, {**words, "as_it_is": answers}, by, now)
    sample = FluidSample.objects.filter(step=step).select_related("vehicle__owner").first()
    if sample is not None and sample.waits:
        answer_sample(sample=sample, person=str(sample.vehicle.owner), words=GO_ON, actor=by, clock=fixed(now))


def _act(event: uuid.UUID, step: JobStep, kind: str, words: Mapping[str, str], by: User, now: dt.datetime) -> None:
    act(event_id=event, step=step, kind=kind, base_version=step.version, data=words, actor=by, clock=fixed(now))


def reading_at(step: JobStep, dice: random.Random) -> dict[str, str]:
    """What is read at a step when all goes well."""
    written = step.written
    if written is None or not written.reading:
        return {}
    value, places = _value(written, dice), 2 if written.unit in ("L", "qt") else 1
    return {"reading": f"{round_half_up(value, places).normalize():f}"}


def _value(written: ProcedureStep, dice: random.Random) -> Decimal:
    low, high, target = written.low, written.high, written.target
    if target is None:  # a thing that is measured as it is found: worn or cool, well within its limits
        high = high or D(1)
        low = high * D("0.6") if low is None else low
        return low + (high - low) * D(dice.randint(15, 30)) / 100
    if written.kind == Kind.FILL:  # never more than the customer was offered
        return max(low or D(0), target - D(dice.choice((0, 0, 0, 2, 3, 5))) / 100)
    if written.kind == Kind.DRAIN:
        return max(low or D(0), target * D(dice.randint(92, 100)) / 100)
    if written.kind == Kind.TIGHTEN and target > 5:
        return target + D(dice.choice((0, 0, 0, 0, 5, -5))) / 10
    if written.kind == Kind.MEASURE and low is not None and high is not None:
        return target + (high - low) * D(dice.randint(-20, 20)) / 100
    return target
