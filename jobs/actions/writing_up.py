"""Writing up the work: operations and their lines, priced from procedure, shelf and the shop's labor rate.

What an edit means for the customer's consent is not decided here: `jobs.consent` holds the sheet against what they
said, and asks again where it goes beyond. Declined work stays as it was declined until it is offered again.
"""

import datetime as dt
import uuid
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.db.models import F, Max

from garage import audit, changes, dates, shop, units
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.forms_fields import plain_text
from garage.idempotency import once
from garage.models import TaxClass, User
from garage.writing import writing
from jobs import amounts, objections, seen, stages
from jobs.actions import following
from jobs.actions.stages import settle
from jobs.consent import DECLINED
from jobs.consents import consent_of
from jobs.models import (
    Advisory,
    Component,
    DueService,
    Finer,
    Job,
    JobStep,
    Line,
    LineKind,
    Operation,
    ProcedureNeed,
    ProcedureRevision,
)
from jobs.queries_procedures import as_written
from parts import queries as shelf
from parts.models import Item

#: What a person may write on an operation and on a line.
OPERATION_FIELDS = ("title", "concern", "cause", "correction")
LINE_FIELDS = (
    "kind",
    "finer",
    "item",
    "description",
    "condition",
    "quantity",
    "unit",
    "base_quantity",
    "typed",
    "unit_price",
    "discount",
    "tax_class",
    "sublet_to",
    "if_needed",
)

#: The unit and the tax class of a line of each kind, where the item or what is typed does not say otherwise.
UNITS = {
    LineKind.LABOR: "h",
    LineKind.PART: "each",
    LineKind.FLUID: "L",
    LineKind.SUBLET: "each",
    LineKind.CHARGE: "each",
}
TAX_CLASSES = {
    LineKind.LABOR: TaxClass.LABOR,
    LineKind.PART: TaxClass.PARTS,
    LineKind.FLUID: TaxClass.PARTS,
    LineKind.SUBLET: TaxClass.SUBLET,
    LineKind.CHARGE: TaxClass.CHARGE,
}


def kind_of(item: Item) -> LineKind:
    """The kind of line an item is charged on: what is poured is fluid, what is counted is a part."""
    return LineKind.FLUID if item.base_unit == Item.BaseUnit.LITER else LineKind.PART


@once("add operation", Operation)
def add_operation(
    *,
    key: uuid.UUID | None = None,
    job: Job,
    title: str,
    concern: str = "",
    cause: str = "",
    revision: ProcedureRevision | None = None,
    component: Component | None = None,
    advisory: Advisory | None = None,
    actor: User | None,
    clock: Clock,
) -> Operation:
    """Put a piece of work on the job's sheet, at its end.

    From a procedure's `revision` it brings labor at the shop's rate, a line for each thing it needs at today's
    price, and its steps. An `advisory` taken up this way is marked as offered.
    """
    now = clock()
    editable(job)
    if not title.strip():
        raise Refused("An operation needs a title.", "title")
    if revision is not None:
        _complete(revision)
        component = component or revision.procedure.component
    operation = Operation.objects.create(
        job=job,
        position=next_position(job),
        title=title.strip(),
        concern=concern,
        cause=cause,
        revision=revision,
        component=component,
    )
    if revision is not None:
        _from_procedure(operation, revision)
    if advisory is not None:
        advisory.operation, advisory.state = operation, Advisory.State.OFFERED
        advisory.save(update_fields=["operation", "state"])
    audit.record("wrote up", operation, actor=actor, now=now, job=job.pk, revision=revision and revision.pk)
    counted(job, actor, now)
    return operation


@once("take up", Operation)
def take_up(
    *, key: uuid.UUID | None = None, job: Job, offer: Advisory | DueService, actor: User | None, clock: Clock
) -> Operation:
    """Write up what was noticed on an earlier visit, or what is due, as an operation of this job."""
    now = clock()
    if isinstance(offer, DueService):
        revision = offer.procedure.current
        return add_operation(
            job=job,
            title=offer.procedure.title,
            revision=revision,
            component=offer.component,
            actor=actor,
            clock=fixed(now),
        )
    noticed = f"Recommended on {offer.job}, {dates.day(shop.day_of(offer.at))}: {offer.text}"
    return add_operation(
        job=job,
        title=offer.text,
        concern=noticed,
        component=offer.component,
        advisory=offer,
        actor=actor,
        clock=fixed(now),
    )


def _complete(revision: ProcedureRevision) -> None:
    """Refuse a procedure with figures that are still to be filled in: nobody works by a blank."""
    missing = as_written(revision).missing
    if missing:
        raise Refused(f"“{revision.procedure}” is not ready for a job. To be filled in first: {'; '.join(missing)}.")


def _from_procedure(operation: Operation, revision: ProcedureRevision) -> None:
    lines = [_labor(operation, revision)] if revision.hours else []
    for position, need in enumerate(revision.needs.select_related("item"), start=1):
        lines.append(_needed(operation, need, position))
    for line in Line.objects.bulk_create(lines):
        following.follow(line, item_changed=True)
    JobStep.objects.bulk_create(
        JobStep(operation=operation, written=step, title=step.title, position=step.position)
        for step in revision.steps.all()
    )


def _labor(operation: Operation, revision: ProcedureRevision) -> Line:
    assert revision.hours is not None  # asked by the caller
    return Line(
        operation=operation,
        position=0,
        kind=LineKind.LABOR,
        description="Labor",
        typed=f"{plain_text(revision.hours)} hr",
        tax_class=TaxClass.LABOR,
        **vars(amounts.priced(revision.hours, "h", shop.profile().labor_rate)),
    )


def _needed(operation: Operation, need: ProcedureNeed, position: int) -> Line:
    """The line for one thing a procedure needs; an item that was replaced is charged as its successor."""
    item = shelf.current_item(need.item) if need.item is not None else None
    kind = kind_of(item) if item is not None else _described_kind(need)
    price = shelf.price_of(item) if item is not None else None
    unit = units.typed_unit(need.typed, UNITS[kind])
    quantity = units.convert(need.quantity, UNITS[kind], unit)
    return Line(
        operation=operation,
        position=position,
        kind=kind,
        item=item,
        need=need,
        description=str(item or need.description),
        condition=Line.Condition.NEW,
        typed=need.typed,
        tax_class=item.tax_class if item is not None else TAX_CLASSES[kind],
        **vars(amounts.priced(quantity, unit, price or Decimal(0), per=UNITS[kind])),
    )


def _described_kind(need: ProcedureNeed) -> LineKind:
    """A need that names no item is fluid when its amount was written as a volume."""
    try:
        unit = units.parse_quantity(need.typed, "each")[1]
    except ValueError:
        return LineKind.PART
    return LineKind.FLUID if units.DIMENSION[unit] == "volume" else LineKind.PART


@writing()
def edit_operation(
    *, operation: Operation, fields: Mapping[str, Any], version: str = "", actor: User | None, clock: Clock
) -> Operation:
    """Change an operation's words; another title is other work and asks for another decision.

    Raises Stale when somebody else changed them since `version`; Refused for another title of declined work.
    """
    now = clock()
    editable(operation.job, operation)
    operation.refresh_from_db()
    seen.check(operation, version, *OPERATION_FIELDS)
    if fields.get("title", operation.title) != operation.title:
        not_declined(operation, "title")  # which is named as it stands on record
    changed = changes.assign(operation, fields, among=OPERATION_FIELDS)
    if not operation.title.strip():
        raise Refused("An operation needs a title.", "title")
    if changed:
        operation.save(update_fields=list(changed))
        audit.record("changed", operation, actor=actor, now=now, changed=changed)
        counted(operation.job, actor, now)
    return operation


@writing()
def move_operation(*, operation: Operation, up: bool, actor: User | None, clock: Clock) -> Operation:
    """Change places with the operation above or below; at the end of the sheet nothing moves."""
    now = clock()
    job = operation.job
    editable(job)
    operation.refresh_from_db(fields=["position"])
    others = job.operations.exclude(pk=operation.pk)
    if up:
        other = others.filter(position__lt=operation.position).order_by("-position").first()
    else:
        other = others.filter(position__gt=operation.position).order_by("position").first()
    if other is None:
        return operation
    here, there = operation.position, other.position
    for row, position in ((operation, next_position(job)), (other, here), (operation, there)):
        row.position = position  # by way of a free place: no two rows may share one at any moment
        row.save(update_fields=["position"])
    audit.record("moved", operation, actor=actor, now=now, position=there)
    counted(job, actor, now)
    return operation


@once("save line", Line)
def save_line(
    *,
    key: uuid.UUID | None = None,
    operation: Operation,
    line: Line | None = None,
    fields: Mapping[str, Any],
    version: str = "",
    actor: User | None,
    clock: Clock,
) -> Line:
    """Write a new line of an operation, or change one; its figures are kept as they are printed (`amounts.priced`).

    `fields` gives quantity and price per `unit`; `price_per` names the unit of a price that is per another one.
    A part with a core deposit brings its core as a line of its own. What was taken from the shelf for a line keeps its
    item. Raises Stale when somebody else changed the line since `version`; Refused when it was removed meanwhile,
    and for declined work.
    """
    now = clock()
    editable(operation.job, operation)
    not_declined(operation)
    row = Line(operation=operation, position=_last_line(operation) + 1) if line is None else _fresh(line)
    if line is not None:
        seen.check(row, version, *LINE_FIELDS)
    changed = changes.assign(row, _as_printed(row, fields), among=LINE_FIELDS)
    if row.pk and "item" in changed and row.draws.exists():
        raise Refused("Something was taken from the shelf for this line: its item stays.", "item")
    if row.kind == LineKind.PART and row.quantity % 1:
        raise Refused("Parts are counted in whole pieces.", "quantity")
    if row.kind == LineKind.SUBLET and not row.sublet_to.strip():
        raise Refused("Write who does the sublet work.", "sublet_to")
    if row.finer in (Finer.CORE, Finer.GOODWILL) and row.kind != LineKind.CHARGE:
        raise Refused("A core deposit and goodwill are charges.", "finer")
    if row.finer == Finer.WRITE_OFF:
        raise Refused("What is not charged is worked out on the draft of the invoice: undo it there.")
    if row.finer == Finer.CORE_REFUND:
        raise Refused("A core that came back is entered on the core's own line.")
    if (row.finer == Finer.GOODWILL) != (row.unit_price < 0):
        raise Refused("Goodwill takes off the bill, and nothing else does: write what it takes off.", "unit_price")
    if row.if_needed and row.unit_price * (1 - row.discount) <= 0:
        raise Refused("Write the most it may cost: at 0.00 nothing of it could be billed.", "unit_price")
    if changed or row.pk is None:
        item_changed = line is None or "item" in changed
        row.save()
        following.follow(row, item_changed=item_changed)
        audit.record("wrote line" if line is None else "changed line", row, actor=actor, now=now, changed=changed)
        counted(operation.job, actor, now)
    return row


def _as_printed(row: Line, fields: Mapping[str, Any]) -> dict[str, Any]:
    """The fields with the line's figures as they are printed and charged; an exact base quantity given stands."""
    given = dict(fields)
    per = given.pop("price_per", "")
    if not given.keys() & {"quantity", "unit", "unit_price"}:
        return given
    unit = given.get("unit", row.unit)
    if "unit_price" not in given:
        given["unit_price"], per = row.unit_price, row.unit
    try:
        figures = amounts.priced(given.get("quantity", row.quantity), unit, given["unit_price"], per or None)
    except ValueError as error:
        raise Refused(str(error), "quantity") from error
    if not figures.quantity:
        raise Refused("That is less than a thousandth of its unit: write it in a smaller one.", "quantity")
    another = "quantity" in given or unit != row.unit  # the same figure in another unit is another quantity
    exact = given.get("base_quantity", figures.base_quantity if another else row.base_quantity)
    return {**given, **vars(figures), "base_quantity": exact}


def _fresh(line: Line) -> Line:
    row = Line.objects.filter(pk=line.pk).first()
    if row is None:
        raise Refused(f"“{line}” was removed from the sheet while your form was open.")
    return row


def editable(job: Job, operation: Operation | None = None) -> None:
    """Refuse once the job's paper is out or the visit is over, or the operation that is to be changed is billed."""
    job.refresh_from_db(fields=["stage"])
    if job.stage not in stages.OPEN:
        raise Refused(f"{job} is {job.get_stage_display()}: its work can no longer be changed.")
    for sentence in objections.to_changing(operation) if operation is not None else ():
        raise Refused(sentence)


def next_position(job: Job) -> int:
    """The place after the last operation of the sheet."""
    return (job.operations.aggregate(last=Max("position"))["last"] or 0) + 1


def _last_line(operation: Operation) -> int:
    return operation.lines.aggregate(last=Max("position"))["last"] or 0


def not_declined(operation: Operation, field: str = "") -> None:
    """Refuse to change work that its customer declined: what they said no to stays on record as it was."""
    if consent_of(operation.job).of(operation.pk).state == DECLINED:
        raise Refused(f"“{operation}” was declined, and that stays on record: offer it again to change it.", field)


def counted(job: Job, actor: User | None, now: dt.datetime) -> None:
    """Count an edit of the job, and see whether its stage still fits."""
    Job.objects.filter(pk=job.pk).update(version=F("version") + 1)
    job.refresh_from_db(fields=["version"])
    settle(job, actor=actor, clock=fixed(now))
