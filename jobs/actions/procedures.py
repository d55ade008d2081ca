"""Publishing procedures: each change is a new revision, and a job keeps the one it started with."""

import datetime as dt
from dataclasses import replace
from decimal import Decimal

from garage import audit
from garage.clock import Clock
from garage.errors import Refused
from garage.models import User
from garage.writing import writing
from jobs.models import AppliesTo, Component, Procedure, ProcedureNeed, ProcedureRevision, ProcedureStep
from jobs.procedure_schema import Amount, Need, Step, Vehicles, Written
from jobs.queries_procedures import as_written, items_called, known_as, whole_revisions
from jobs.substance import marked
from parts.models import Item

PUBLISHED, RETIRED = ProcedureRevision.State.PUBLISHED, ProcedureRevision.State.RETIRED


@writing()
def publish(*, written: Written, actor: User | None, clock: Clock) -> ProcedureRevision:
    """Publish a procedure as written: its first revision, or a new one of the procedure with that title.

    The revision that stood before is retired. What says the same as the current revision changes nothing and
    answers with it. Raises Refused for an item that the shelf does not know, or knows twice.
    """
    now = clock()
    written = marked(written)
    items = [find_item(need) for need in written.needs]
    component, _ = Component.objects.get_or_create(name=written.component)
    procedure = Procedure.objects.filter(title__iexact=written.title).first() or Procedure.objects.create(
        title=written.title, component=component
    )
    current = procedure.current and whole_revisions().get(pk=procedure.current.pk)
    if current is not None and as_written(current) == _as_known(written, items):
        return current
    last = procedure.revisions.first()
    revision = _revision(procedure, written, last.number + 1 if last else 1, actor, now)
    needs = [_need(revision, need, item, at) for at, (need, item) in enumerate(zip(written.needs, items, strict=True))]
    ProcedureNeed.objects.bulk_create(needs)
    by_name = {need.name: need for need in needs}
    steps = [_step(revision, step, by_name.get(step.uses), at) for at, step in enumerate(written.steps, start=1)]
    ProcedureStep.objects.bulk_create(steps)
    _require(dict(zip(steps, written.steps, strict=True)))
    procedure.applies_to.all().delete()
    AppliesTo.objects.bulk_create(_applies(procedure, vehicles) for vehicles in written.applies_to)
    procedure.revisions.filter(state=PUBLISHED).exclude(pk=revision.pk).update(state=RETIRED)
    procedure.title, procedure.component, procedure.current = written.title, component, revision
    procedure.save()
    audit.record("published", revision, actor=actor, now=now, number=revision.number)
    return revision


def _as_known(written: Written, items: list[Item | None]) -> Written:
    """The same with each item by the number it is exported with, so that two files can be compared."""
    pairs = zip(written.needs, items, strict=True)
    return replace(written, needs=tuple(replace(need, item=known_as(item)) if item else need for need, item in pairs))


def find_item(need: Need) -> Item | None:
    """The item a need names; None for one that is only described. Refused when the shelf does not know it, or twice."""
    if not need.item:
        return None
    found = items_called(need.item)
    if not found:
        raise Refused(f"No item on the shelf is called “{need.item}”: write it up there first, or describe it.")
    if len(found) > 1:
        raise Refused(f"“{need.item}” is the name of {len(found)} items: use a number that only one has.")
    item = found[0]
    if need.quantity.known and item.base_unit != need.quantity.base:
        counted = "liters" if item.base_unit == Item.BaseUnit.LITER else "pieces"
        raise Refused(f"{item} is counted in {counted}, but {need.quantity.typed} is not.")
    return item


def _revision(
    procedure: Procedure, written: Written, number: int, actor: User | None, now: dt.datetime
) -> ProcedureRevision:
    return ProcedureRevision.objects.create(
        procedure=procedure,
        number=number,
        state=PUBLISHED,
        summary=written.summary,
        hours=written.hours,
        capacity=_value(written.capacity),
        capacity_typed=written.capacity.typed if written.capacity else "",
        drain=_value(written.drain),
        drain_typed=written.drain.typed if written.drain else "",
        fluid_kind=written.fluid_kind,
        specification=written.specification,
        tools="\n".join(written.tools),
        cautions="\n".join(written.cautions),
        source=written.source,
        every_distance=written.every_distance,
        distance_unit=written.distance_unit,
        every_months=written.every_months,
        written_by=str(actor or ""),
        published_at=now,
    )


def _value(amount: Amount | None) -> Decimal | None:
    return amount.value if amount and amount.known else None


def _need(revision: ProcedureRevision, need: Need, item: Item | None, position: int) -> ProcedureNeed:
    return ProcedureNeed(
        revision=revision,
        position=position,
        name=need.name,
        item=item,
        description=need.description,
        quantity=need.quantity.value,
        typed=need.quantity.typed,
        one_time=need.one_time,
    )


def _step(revision: ProcedureRevision, step: Step, need: ProcedureNeed | None, position: int) -> ProcedureStep:
    row = ProcedureStep(
        revision=revision,
        position=position,
        kind=step.kind,
        name=step.name,
        title=step.title,
        text=step.text,
        tool=step.tool,
        caution=step.caution,
        hold_point=step.hold_point,
        need=need,
        threads=step.threads,
        how=step.how,
        substance=step.substance,
    )
    if step.reading is not None:
        reading = step.reading
        row.reading, row.unit, row.outside = reading.name, reading.unit, reading.outside
        row.target, row.low, row.high = reading.target, reading.low, reading.high
        row.to_fill_in = ", ".join(reading.to_fill_in)
    return row


def _require(steps: dict[ProcedureStep, Step]) -> None:
    """Bind each step to those it needs, by the names that the file gave them."""
    named = {row.name: row for row in steps if row.name}
    required = ProcedureStep.required.through
    required.objects.bulk_create(
        required(from_procedurestep=row, to_procedurestep=named[needed])
        for row, step in steps.items()
        for needed in step.needs
    )


def _applies(procedure: Procedure, vehicles: Vehicles) -> AppliesTo:
    return AppliesTo(
        procedure=procedure,
        make=vehicles.make,
        model=vehicles.model,
        year_from=vehicles.year_from,
        year_to=vehicles.year_to,
        engine=vehicles.engine,
        drivetrain=vehicles.drivetrain,
    )
