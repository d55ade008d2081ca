"""How priced work is written out, on pages and on papers alike: figures as text, both units, notes in words."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol

from garage.forms_fields import plain_text
from invoicing.comparing import amount
from invoicing.models import EstimateOperation, InvoiceOperation
from invoicing.sums import OperationCharges
from jobs import showing

FINER = {"core": "core deposit", "kit": "kit", "teardown": "teardown and reassembly", "fee": "fee"}


class Priced(Protocol):
    """What a line of an estimate, an invoice and a draft have in common."""

    @property
    def kind(self) -> str: ...
    @property
    def finer(self) -> str: ...
    @property
    def description(self) -> str: ...
    @property
    def condition(self) -> str: ...
    @property
    def quantity(self) -> Decimal: ...
    @property
    def unit(self) -> str: ...
    @property
    def typed(self) -> str: ...
    @property
    def unit_price(self) -> Decimal: ...
    @property
    def discount(self) -> Decimal: ...
    @property
    def sublet_to(self) -> str: ...
    @property
    def net(self) -> Decimal: ...


@dataclass(frozen=True)
class LineShown:
    """A line written out; `other` figures are the same in the other unit, or empty."""

    what: str
    notes: str
    condition: str
    quantity: str
    quantity_other: str
    price: str
    price_other: str
    net: str


@dataclass(frozen=True)
class OperationShown:
    """An operation written out; `note` says why it is not in the total."""

    key: int | None
    number: int
    title: str
    concern: str
    cause: str
    correction: str
    technicians: str
    lines: tuple[LineShown, ...]
    net: str
    note: str = ""


def line_shown(line: Priced) -> LineShown:
    """Write a line out."""
    quantity, quantity_other = showing.quantity(line.quantity, line.unit, line.typed)
    price, price_other = showing.price(line.unit_price, line.unit)
    notes = [
        FINER.get(line.finer, ""),
        f"work done by {line.sublet_to}" if line.sublet_to else "",
        f"less {plain_text(line.discount * 100)} %" if line.discount else "",
    ]
    return LineShown(
        what=line.description,
        notes=" · ".join(filter(None, notes)),
        condition=line.condition,
        quantity=minus(quantity),
        quantity_other=minus(quantity_other),
        price=minus(price),
        price_other=minus(price_other),
        net=amount(line.net),
    )


def minus(text: str) -> str:
    """A figure with a true minus sign, as wide as the other figures."""
    return text.replace("-", "−")


def from_charges(operations: Iterable[OperationCharges]) -> list[OperationShown]:
    """Write a job's operations out as they stand on the sheet, or as they would be billed."""
    return [
        OperationShown(
            key=row.operation,
            number=number,
            title=row.title,
            concern=row.concern,
            cause=row.cause,
            correction=row.correction,
            technicians="",
            lines=tuple(line_shown(charge) for charge in row.charges),
            net=amount(row.net),
            note="" if row.counted else ALTERNATIVE,
        )
        for number, row in enumerate(operations, start=1)
    ]


ALTERNATIVE = "Alternative, not in the total"


def from_paper(operations: Sequence[EstimateOperation] | Sequence[InvoiceOperation]) -> list[OperationShown]:
    """Write the frozen operations of an estimate or an invoice out."""
    return [
        OperationShown(
            key=row.operation_id,
            number=row.position,
            title=row.title,
            concern=row.concern,
            cause=row.cause,
            correction=row.correction if isinstance(row, InvoiceOperation) else "",
            technicians=row.technicians if isinstance(row, InvoiceOperation) else "",
            lines=tuple(line_shown(line) for line in row.lines.all()),
            net=amount(row.net),
            note=ALTERNATIVE if isinstance(row, EstimateOperation) and not row.counted else "",
        )
        for row in operations
    ]
