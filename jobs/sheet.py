"""What stands on a job's sheet: every operation and line as it is shown, and what blocks the job."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

from django.urls import reverse
from django.utils import timezone

from garage.cuts import Cut, first_of
from jobs import consent_words, queries, showing, stages
from jobs.amounts import amount, base_unit, charged_quantity
from jobs.consent import DECLINED, UNDECIDED, Consent, Standing
from jobs.consents import consent_of
from jobs.fitted import Fitted, fitted_for
from jobs.held_words import stop_words
from jobs.models import Finer, Job, Line, LineKind, Operation, Stage
from jobs.not_done import missing_words
from parts.models import Item
from parts.queries import current_item, find_items, items_today, open_contents, price_of, with_former_names

if TYPE_CHECKING:
    from parts.queries import ItemToday

ZERO = Decimal(0)


@dataclass(frozen=True)
class LineShown:
    """A line with its figures written out; `notes` are the small words under it, `core_out` a core not handed in.

    `what` is what was fitted, once it was, and what is written before.
    """

    line: Line
    what: str
    quantity: tuple[str, str]
    price: tuple[str, str]
    amount: Decimal
    notes: str
    core_out: bool = False


@dataclass(frozen=True)
class OperationShown:
    """An operation with its lines and what they come to."""

    operation: Operation
    number: int
    lines: list[LineShown]
    amount: Decimal
    last: bool
    standing: Standing

    @property
    def not_covered(self) -> list[str]:
        """What of it goes beyond what the customer said yes to."""
        return [consent_words.beyond(row) for row in self.standing.beyond]

    @property
    def fixed(self) -> bool:
        """Whether it was declined: it stays as it was, until it is offered again."""
        return self.standing.state == DECLINED


@dataclass(frozen=True)
class Block:
    """Something that keeps the job from going on: a word, and a sentence; an act where one puts it right."""

    word: str
    sentence: str
    act: str = ""
    href: str = ""


@dataclass(frozen=True)
class Stock:
    """What stands on the shelf of an item, its older numbers counted in, and how much of it stands open."""

    item: Item
    there: Decimal
    open: Decimal


@dataclass(frozen=True)
class Shelf:
    """What the shelf holds of the items on a job, and what was drawn for its lines already."""

    stock: Mapping[int, Stock] = field(default_factory=dict)
    used: Mapping[int, queries.Used] = field(default_factory=dict)
    fitted: Mapping[int, Fitted] = field(default_factory=dict)

    def of(self, item: Item | None) -> Stock | None:
        """The stock of what is bought today in place of `item`; None when it is not in use."""
        return self.stock.get(current_item(item).pk) if item is not None else None


@dataclass(frozen=True)
class Sheet:
    """A job as its sheet shows it."""

    job: Job
    operations: list[OperationShown]
    blocks: list[Block]
    consent: Consent

    @property
    def may_start(self) -> bool:
        """Whether the car can go into the bay now: something is authorized, even where more is still to be decided."""
        work = [row.operation for row in self.operations if row.standing.allows_work]
        return stages.may_start(
            self.job.stage,
            begun=any(row.started_at is not None for row in work),
            left=any(row.finished_at is None for row in work),
        )


def sheet_of(job: Job) -> Sheet:
    """Write out a job that was read with `queries.sheets`; three more queries for the shelf, and consent's."""
    operations = list(job.operations.all())
    consent = consent_of(job, operations, exempt=job.customer.exempt_on(timezone.localdate()))
    shelf = shelf_for([line for operation in operations for line in operation.lines.all()])
    shown = [
        _operation(operation, number, shelf, consent.of(operation.pk), last=number == len(operations))
        for number, operation in enumerate(operations, start=1)
    ]
    return Sheet(job, shown, list(_blocks(job, operations, shelf, consent)), consent)


def shelf_for(lines: Iterable[Line]) -> Shelf:
    """Look at the shelf once for all lines of a job."""
    lines = list(lines)
    today = {current_item(line.item).pk for line in lines if line.item is not None}
    if not today:
        return Shelf()
    rows = list(with_former_names(items_today().filter(pk__in=today)))
    opened = open_contents(rows)
    stock = {row.pk: Stock(row, row.there, opened.get(row.pk, ZERO)) for row in rows}
    used = queries.used(lines)
    return Shelf(stock, used, fitted_for(lines, used))


@dataclass(frozen=True)
class ItemOffered:
    """An item of the shelf that can be put on a line: its price, what is there, what it was called before."""

    item: Item
    price: tuple[str, str] | None
    there: str
    notes: str


def items_offered(text: str, *, limit: int = 8) -> Cut[ItemOffered]:
    """The items that anything typed leads to, by old numbers and names too."""
    found = first_of(with_former_names(find_items(text)), limit)
    return found.with_rows(offered(row) for row in found)


def offered(row: "ItemToday") -> ItemOffered:
    """An item (as `with_former_names` gives it) as it is offered for a line."""
    price = price_of(row)
    former = [f"formerly {old.name}" for old in row.older.all()]
    return ItemOffered(
        row,
        showing.price(price, row.base_unit) if price is not None else None,
        f"{_both(row.there, row.base_unit)} on the shelf",
        " · ".join(filter(None, [*former, row.location])),
    )


def _operation(operation: Operation, number: int, shelf: Shelf, standing: Standing, *, last: bool) -> OperationShown:
    lines = [line_shown(line, shelf, operation) for line in operation.lines.all()]
    return OperationShown(operation, number, lines, sum((line.amount for line in lines), ZERO), last, standing)


def line_shown(line: Line, shelf: Shelf, operation: Operation) -> LineShown:
    """A line with its figures written out."""
    fitted = shelf.fitted.get(line.pk)
    return LineShown(
        line,
        fitted.what if fitted is not None else line.description,
        showing.quantity(line.quantity, line.unit),
        showing.price(line.unit_price, line.unit),
        amount(line.quantity, line.unit_price, line.discount),
        " · ".join(filter(None, _notes(line, shelf, operation))),
        core_out=cores_out(line, operation) > 0,
    )


def cores_out(line: Line, operation: Operation) -> Decimal:
    """How many cores of a core line were not handed in yet; 0 for any other line."""
    if line.finer != Finer.CORE:
        return ZERO
    return line.quantity + sum((row.quantity for row in operation.lines.all() if row.under_id == line.pk), ZERO)


def _notes(line: Line, shelf: Shelf, operation: Operation) -> Iterable[str]:
    if line.if_needed:
        yield showing.if_needed(line.quantity, line.unit, amount(line.quantity, line.unit_price, line.discount))
    revision = operation.revision
    if revision is not None and line.kind == LineKind.LABOR and line.position == 0 and line.quantity == revision.hours:
        yield f"procedure revision {revision.number}"  # the procedure's own hours, not what was added or typed over
    yield line.get_condition_display() if line.condition else ""
    yield line.get_finer_display() if line.finer not in ("", Finer.WRITE_OFF) else ""  # a write-off says so itself
    yield f"done by {line.sublet_to}" if line.sublet_to else ""
    if line.pk in shelf.fitted:
        yield shelf.fitted[line.pk].note
    elif line.item is not None and line.item.current is not None:
        yield f"today {line.item.current}"
    if line.discount:
        yield f"{showing.quantity(line.discount * 100, 'each')[0]}% off"
    drawn = shelf.used.get(line.pk)
    if drawn is not None and drawn.quantity:
        out = charged_quantity(drawn.quantity, base_unit(line.unit), line.unit)
        yield f"{showing.quantity(out, line.unit)[0]} used"
    stock = shelf.of(line.item)
    if stock is not None and stock.open and drawn is None:
        left = charged_quantity(stock.open, base_unit(line.unit), line.unit)
        yield f"{showing.quantity(left, line.unit)[0]} open" + (
            f" on {stock.item.location}" if stock.item.location else ""
        )


def _blocks(job: Job, operations: list[Operation], shelf: Shelf, consent: Consent) -> Iterable[Block]:
    """What keeps the job from its next stage, the hardest first."""
    if job.stage not in stages.OPEN:
        return
    yield from _shortages([row for row in operations if consent.of(row.pk).state != DECLINED], shelf)
    for operation in operations:
        for step in operation.steps.all():
            if step.shortage:
                yield Block("Short", f"{step.title}: {step.shortage}")
            if sentence := stop_words(step):
                yield Block("Stopped" if step.stopped else "Sample", sentence)
    unpriced = [line.description for op in operations for line in op.lines.all() if _unpriced(line)]
    if unpriced:
        yield Block("No price", f"{', '.join(unpriced)}: type what it costs, or receive it on the shelf first.")
    yield from _not_authorized(job, operations, consent)
    if any(row.not_done_id is not None for row in operations):
        href = reverse("jobs:car-taken", args=[job.pk])
        yield from (Block("Not done", said, "Record word", href) for said in missing_words(job))
    if job.vehicle is not None and job.odometer_in is None:
        yield Block("Odometer", "It was not read at check-in.")


def _not_authorized(job: Job, operations: list[Operation], consent: Consent) -> Iterable[Block]:
    for operation in operations:
        standing = consent.of(operation.pk)
        if standing.state == UNDECIDED and standing.asks and job.stage in (Stage.IN_BAY, Stage.FINISHED):
            yield Block("Not authorized", f"{operation}: no work on it before the customer was asked.")
        elif standing.beyond and standing.answered:
            what = consent_words.all_beyond(standing)
            yield Block("Addition declined", f"{operation}: take it off the sheet, it is not billed ({what}).")
        elif standing.beyond:
            what = consent_words.all_beyond(standing)
            yield Block("Not authorized", f"{operation}: the customer has to be asked first ({what}).")


def _unpriced(line: Line) -> bool:
    return line.unit_price == 0 and line.kind in (LineKind.PART, LineKind.FLUID)


def _shortages(operations: list[Operation], shelf: Shelf) -> Iterable[Block]:
    """Items of which the shelf holds less than some operations still need."""
    needed: dict[int, Decimal] = {}
    for operation in operations:
        if operation.finished_at is not None or operation.not_done_id is not None:
            continue
        for line in operation.lines.all():
            stock = shelf.of(line.item)
            if stock is not None:
                drawn = shelf.used.get(line.pk, queries.NOTHING).quantity
                needed[stock.item.pk] = needed.get(stock.item.pk, ZERO) + max(line.base_quantity - drawn, ZERO)
    for pk, quantity in needed.items():
        stock = shelf.stock[pk]
        if quantity > stock.there:
            unit = stock.item.base_unit
            yield Block(
                "Short", f"{stock.item}: {_both(quantity, unit)} needed, {_both(stock.there, unit)} on the shelf."
            )


def _both(quantity: Decimal, unit: str) -> str:
    return " · ".join(filter(None, showing.quantity(quantity, unit)))
