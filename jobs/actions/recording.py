"""What an act on a step leaves behind besides the tick: its reading, its sample, a check of what went too far."""

from decimal import Decimal

from django.db.models import Max

from garage.clock import fixed
from garage.errors import Refused
from garage.texts import fitting
from jobs.actions.acts import Act
from jobs.actions.evidence import record_sample
from jobs.fluids import BOILING_POINT, FIGURES, FLUIDS, FREEZE_POINT, THINGS, WATER, read_figure
from jobs.models import FluidSample, JobStep, Reading
from jobs.queries_bay import drained_before
from jobs.readings import Measured, judged_by, spec_of
from jobs.verdict import Seen


def keep_reading(doing: Act, measured: Measured) -> None:
    """Keep what was read, with the limits it was judged by."""
    spec = spec_of(doing.step.written)
    assert spec is not None
    Reading.objects.create(
        step=doing.step,
        name=spec.name,
        value=measured.value,
        unit=measured.unit,
        typed=fitting(measured.typed, 40, "reading"),
        low=judged_by(spec)[0],
        high=judged_by(spec)[1],
        verdict=measured.band,
        reason="" if measured.band == "ok" else fitting(doing.said("reason"), 200, "reason"),
        at=doing.now,
        by=doing.actor,
    )


def follow_up(doing: Act, measured: Measured) -> None:
    """Put a note and a check on the operation: what was tightened past its limit must be looked at before it leaves."""
    step = doing.step
    said = f"Tightened to {measured.typed}, past the limit: {doing.said('reason')}"
    step.note = "\n".join(filter(None, [step.note, said]))
    if step.follow_ups.filter(state=JobStep.State.OPEN).exists():
        return
    last = step.operation.steps.aggregate(last=Max("position"))["last"]
    title = f"Tightened too far: check threads and seat of “{step}”"
    JobStep.objects.create(operation=step.operation, follows=step, title=title, position=last + 1)


def keep_sample(doing: Act, measured: Measured | None) -> None:
    """Keep what was seen of the fluid; the volume is what was read here, or else came out at an earlier step."""
    step, seen = doing.step, _seen(doing)
    record_sample(
        operation=step.operation,
        step=step,
        seen=seen,
        typed={name: doing.said(name) for name in FIGURES},
        volume_out=measured.liters() if measured else drained_before(step),
        distance_on_fluid=_distance(doing),
        notes=doing.said("notes"),
        actor=doing.actor,
        clock=fixed(doing.now),
    )


def _seen(doing: Act) -> Seen:
    """What an act says of a sample, in the words of the procedure's kind of fluid, with the figures of its testers."""
    assert doing.step.written is not None  # asked by the caller
    revision = doing.step.written.revision
    fluid = FLUIDS[revision.fluid_kind]
    unsaid = [thing for thing in THINGS if thing in fluid.words and not doing.said(thing)]
    if unsaid:
        raise Refused(f"Say what the fluid looks like: {', '.join(unsaid)}.", unsaid[0])
    words = {thing: doing.said(thing) if thing in fluid.words else "" for thing in THINGS}
    return Seen(
        **words,
        kind=fluid.name,
        freeze_point=_figure(doing, FREEZE_POINT),
        water=_figure(doing, WATER),
        boiling_point=_figure(doing, BOILING_POINT),
        specification=revision.specification,
    )


def _distance(doing: Act) -> int | None:
    """The distance on the fluid as it was typed; None where nothing was."""
    distance = doing.said("distance").replace(",", "")
    if distance and not (distance.isdecimal() and len(distance) < 8):
        raise Refused("The distance on the fluid is a whole number.", "distance")
    return int(distance) if distance else None


def _figure(doing: Act, name: str) -> Decimal | None:
    """A figure of a sample as it was typed; None where nothing was."""
    typed = doing.said(name)
    try:
        return read_figure(name, typed) if typed else None
    except ValueError as error:
        raise Refused(str(error), name) from error


def looks_otherwise(doing: Act, standing: FluidSample) -> bool:
    """Whether an act saw another sample than the one that stands; a note or a distance it leaves out is no other."""
    notes, distance = doing.said("notes"), _distance(doing)
    return (
        _seen(doing) != standing.seen
        or bool(notes and notes != standing.notes)
        or (distance is not None and distance != standing.distance_on_fluid)
    )
