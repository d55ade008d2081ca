"""How priced work is written out, on pages and on papers alike: figures as text, both units, notes in words."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol

from garage.forms_fields import plain_text
from garage.money import spoken
from invoicing.comparing import amount
from invoicing.consents import offer_of
from invoicing.models import Estimate, EstimateOperation, InvoiceOperation
from invoicing.sums import OperationCharges
from invoicing.totals import line_net
from jobs import consent_words, showing
from jobs.consent import DECLINED, Consent, Standing
from jobs.offers import beyond

FINER = {
    "core": "core deposit",
    "core_refund": "core returned",
    "kit": "kit",
    "teardown": "teardown and reassembly",
    "fee": "fee",
    "goodwill": "goodwill",
}


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
    def unit_price(self) -> Decimal: ...
    @property
    def discount(self) -> Decimal: ...
    @property
    def sublet_to(self) -> str: ...
    @property
    def if_needed(self) -> bool: ...
    @property
    def fitted(self) -> str: ...
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
    """An operation written out; `note` says how it stands with its customer, or that it is an alternative (`beside`)
    which is not in the total. `asks` says that there is something to answer about it."""

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
    beside: bool = False
    asks: bool = True


def line_shown(line: Priced) -> LineShown:
    """Write a line out."""
    quantity, quantity_other = showing.quantity(line.quantity, line.unit)
    price, price_other = showing.price(line.unit_price, line.unit)
    notes = [
        showing.if_needed(line.quantity, line.unit, line.net) if line.if_needed else "",
        line.fitted,
        FINER.get(line.finer, ""),
        f"work done by {line.sublet_to}" if line.sublet_to else "",
        f"less {plain_text(line.discount * 100)}%" if line.discount else "",
        _rounding(line),
    ]
    return LineShown(
        what=line.description,
        notes=" · ".join(filter(None, notes)),
        condition=line.condition,
        quantity=quantity,
        quantity_other=quantity_other,
        price=price,
        price_other=price_other,
        net=amount(line.net),
    )


def _rounding(line: Priced) -> str:
    """Where the last credit on a line took what was left of it: the cent that earlier credits had rounded away."""
    short = line.net - line_net(line.quantity, line.unit_price, line.discount)
    return f"{spoken(short)} rounding, to what was billed" if short else ""


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
            beside=not row.counted,
        )
        for number, row in enumerate(operations, start=1)
    ]


ALTERNATIVE = "Alternative, not in the total"


def _alternative(row: EstimateOperation | InvoiceOperation) -> str:
    return ALTERNATIVE if isinstance(row, EstimateOperation) and not row.counted else ""


def against_consent(estimate: Estimate, consent: Consent) -> dict[int | None, str]:
    """What an estimate says anew and what its customer decided before, by operation; nothing before any decision."""
    if not consent.seq:
        return {}
    return {row.operation_id: _stands(estimate, row, consent.of(row.operation_id)) for row in estimate.operations.all()}


def _stands(estimate: Estimate, row: EstimateOperation, standing: Standing) -> str:
    if standing.state == DECLINED:
        return "No longer wanted" if standing.withdrawn else "Declined"
    if standing.yes is None:
        return "Offered again, not authorized" if standing.seq else "New, not authorized"
    if standing.yes.row == row.pk:
        return "Authorized"
    return ". ".join(filter(None, [f"Authorized at {spoken(standing.net)}", not_agreed(estimate, row, standing)]))


def not_agreed(estimate: Estimate, row: EstimateOperation, standing: Standing) -> str:
    """What an estimate offers beyond the yes to an operation, without the stop; empty when that is nothing."""
    if standing.yes is None or standing.yes.row == row.pk:
        return ""
    offer = offer_of(row, estimate)
    over = beyond(standing.yes, offer.as_work)
    return f"Not authorized: {'; '.join(consent_words.beyond(one) for one in over)}" if over else ""


def from_paper(
    operations: Sequence[EstimateOperation] | Sequence[InvoiceOperation],
    notes: Mapping[int | None, str] | None = None,
    consent: Consent | None = None,
) -> list[OperationShown]:
    """Write the frozen operations of an estimate or an invoice out; `notes` say more of some, by operation.

    `consent` says which of them are still to be answered (None: all). A row of no quantity takes back a cost alone,
    which is the garage's own affair: it is not shown.
    """
    notes = notes or {}
    return [
        OperationShown(
            key=row.operation_id,
            number=row.position,
            title=row.title,
            concern=row.concern,
            cause=row.cause,
            correction=row.correction if isinstance(row, InvoiceOperation) else "",
            technicians=row.technicians if isinstance(row, InvoiceOperation) else "",
            lines=tuple(line_shown(line) for line in row.lines.all() if line.quantity),
            net=amount(row.net),
            note=" · ".join(filter(None, [_alternative(row), notes.get(row.operation_id, "")])),
            beside=bool(_alternative(row)),
            asks=consent is None or consent.of(row.operation_id).asks,
        )
        for row in operations
        if not _only_cost(row)
    ]


def _only_cost(row: EstimateOperation | InvoiceOperation) -> bool:
    """Whether it takes back a cost alone: it has lines, and each is of no quantity."""
    lines = row.lines.all()
    return bool(lines) and not any(line.quantity for line in lines)
