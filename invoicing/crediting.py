"""What a credit note takes back: which quantities are left to credit, and what they come to."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from django.db.models import Sum

from garage.errors import Refused
from garage.money import spoken
from invoicing import charges, queries
from invoicing.comparing import how_much
from invoicing.models import Invoice, InvoiceLine, InvoiceOperation, InvoiceTax
from invoicing.sums import Charge, Sums, TaxSum, tax_on, with_taxes
from invoicing.totals import NOTHING

ZERO = Decimal(0)
#: The columns that tell the tax rows of one paper apart.
_OF_ONE_TAX = ("of_tax_id", "rate", "treatment", "reason", "advance_id")


@dataclass(frozen=True)
class Left:
    """What of an invoice line has not been credited yet: its quantity (below zero where it is) and net; and the cost
    that all papers bear for it, an earlier invoice that was not to be billed again too."""

    quantity: Decimal
    net: Decimal
    cost: Decimal = ZERO


@dataclass(frozen=True)
class CreditedLine:
    """One line taken back: the invoice's line, what was left of it before, the charge turned around, and the cost that
    the credit takes back (below zero)."""

    line: InvoiceLine
    left: Left
    charge: Charge
    cost: Decimal = ZERO


@dataclass(frozen=True)
class Credited:
    """All that a credit note takes back; `whole` when nothing of the invoice is left.

    `on_the_shelf` says what of it came back to the shelf and what stays out, a sentence a line. `spent` are the lines
    that earlier notes took back and of which the invoice still bears a cost: what did not come back to the shelf.
    """

    lines: tuple[CreditedLine, ...]
    operations: dict[int, InvoiceOperation]
    sums: Sums
    whole: bool
    on_the_shelf: tuple[str, ...] = ()
    spent: tuple[CreditedLine, ...] = ()

    def by_operation(self) -> list[tuple[InvoiceOperation, list[CreditedLine]]]:
        """The lines under the operations they were billed with."""
        groups: dict[int, list[CreditedLine]] = {}
        for row in self.lines:
            groups.setdefault(row.line.invoice_operation_id, []).append(row)
        return [(self.operations[key], rows) for key, rows in groups.items()]


def left_on(invoice: Invoice) -> dict[int, Left]:
    """What is left to credit on each line of an invoice, by its primary key."""
    rows = InvoiceLine.objects.filter(credits__invoice_operation__invoice=invoice).values("credits")
    taken = {
        row["credits"]: Left(row["quantity"], row["net_sum"])
        for row in rows.annotate(quantity=Sum("quantity"), net_sum=Sum("net"))
    }
    borne = queries.costs_borne([line.line_id for line in lines_of(invoice) if line.line_id])
    left = {}
    for line in lines_of(invoice):
        so_far = taken.get(line.pk, Left(ZERO, NOTHING))
        left[line.pk] = Left(line.quantity + so_far.quantity, line.net + so_far.net, borne.get(line.line_id or 0, ZERO))
    return left


def lines_of(invoice: Invoice) -> list[InvoiceLine]:
    """Every line of an invoice, in the order printed."""
    return [line for operation in invoice.operations.all() for line in operation.lines.all()]


def cores_out(invoice: Invoice, left: Mapping[int, Left]) -> dict[int, Decimal]:
    """How many cores of each core line are neither credited nor given back on the invoice itself, by the line's key."""
    lines = lines_of(invoice)
    places = {(line.invoice_operation_id, line.position): line.pk for line in lines}
    out = {line.pk: left[line.pk].quantity for line in lines if line.finer == "core"}
    for line in lines:
        core = places.get((line.invoice_operation_id, line.under))
        if line.finer == "core_refund" and core in out:
            out[core] += left[line.pk].quantity
    return out


def credited(invoice: Invoice, wanted: Mapping[int, Decimal] | None) -> Credited:
    """Work out a credit note over the wanted quantities by line (None: all that is left).

    The last credit on a line takes what is left of its net, and each one the invoice's own taxes on all that was
    credited so far, so that credits add up to the invoice to the cent. Raises Refused for nothing, and for more than
    is left.
    """
    left = left_on(invoice)
    lines = {line.pk: line for line in lines_of(invoice)}
    taken_off = off_lines(invoice)
    quantities = _checked(wanted, left, lines, taken_off)
    rows = tuple(_take_back(lines[key], quantity, left[key]) for key, quantity in quantities.items())
    _cores_given_back_once(invoice, left, rows)
    whole = all(abs(row.quantity) == quantities.get(key, ZERO) for key, row in left.items())
    sums = with_taxes([row.charge for row in rows], _taxes_back(invoice, rows))
    if sums.gross > 0:
        raise Refused(
            f"This would charge {spoken(sums.gross)} more: a credit gives money back. Credit what the goodwill or the "
            "returned core stands under as well."
        )
    if invoice.kind == Invoice.Kind.ADVANCE:
        _check_advance(invoice, whole)
    elif not whole and sums.gross < -(stays := invoice.gross + _credited_gross(invoice)):
        raise Refused(_more_than_stays(stays, bool(taken_off)))
    gone = [(lines[key], row) for key, row in left.items() if not row.quantity and row.cost]
    spent = tuple(CreditedLine(line, row, charges.charge_on_paper(line, line.line_id).at(ZERO)) for line, row in gone)
    return Credited(rows, {row.pk: row for row in invoice.operations.all()}, sums, whole, spent=spent)


def _more_than_stays(stays: Decimal, taken_off: bool) -> str:
    """Why a part of an invoice comes to more than is left of it: what takes off the bill would stand alone."""
    if taken_off:
        return (
            f"Less its advance invoice, {spoken(stays)} of this invoice is left: no more can be credited of it in "
            "part. Credit it whole; then the advance invoice is open again, and can be credited too."
        )
    return (
        f"{spoken(stays)} of this invoice is left: no more can be credited of it. Credit the goodwill or the returned "
        "core along with what it was taken off."
    )


def off_lines(invoice: Invoice) -> set[int]:
    """The keys of the lines that take an advance invoice off."""
    return {line.pk for row in invoice.operations.all() if row.advance_id for line in row.lines.all()}


def _credited_gross(invoice: Invoice) -> Decimal:
    return invoice.credit_notes.aggregate(sum=Sum("gross"))["sum"] or NOTHING


def _check_advance(advance: Invoice, whole: bool) -> None:
    """Refuse to credit a part of an advance invoice, and one that an invoice takes off."""
    if not whole:
        raise Refused("An advance invoice is credited whole: leave every quantity as it is.")
    for final in queries.taking_off(advance):
        if not queries.taken_back(final):
            raise Refused(f"Invoice {final.label} takes this advance invoice off: credit that one first.")


def _checked(
    wanted: Mapping[int, Decimal] | None,
    left: dict[int, Left],
    lines: dict[int, InvoiceLine],
    taken_off: set[int],
) -> dict[int, Decimal]:
    """The quantities to credit by line. With all that was billed goes what was taken off it, and never before."""
    if wanted is None:
        wanted = {key: abs(row.quantity) for key, row in left.items()}
    for key, quantity in wanted.items():
        if key not in left:
            raise Refused("One of the lines is not on this invoice.")
        if not 0 <= quantity <= (most := abs(left[key].quantity)):
            line = lines[key]
            raise Refused(f"{line.description}: {how_much(most, line.unit)} can still be credited.", f"line_{key}")
    quantities = {key: quantity for key, quantity in wanted.items() if quantity > 0}
    off = {key: abs(left[key].quantity) for key in taken_off if left[key].quantity}
    billed = {key: abs(row.quantity) for key, row in left.items() if key not in off}
    if all(quantities.get(key, ZERO) == quantity for key, quantity in billed.items()):
        quantities |= off
    elif off.keys() & quantities.keys():
        raise Refused("An advance invoice is open again only when all that was billed is credited.")
    if not quantities:
        raise Refused("There is nothing to credit: give at least one line a quantity.")
    return quantities


def _take_back(line: InvoiceLine, quantity: Decimal, left: Left) -> CreditedLine:
    """The charge turned around for a quantity above zero; what a line gives back by itself is taken back upwards."""
    charge = charges.charge_on_paper(line, line.line_id).at(-quantity if line.quantity > 0 else quantity)
    if quantity == abs(left.quantity):
        charge = replace(charge, net=-left.net)
    return CreditedLine(line, left, charge)


def _cores_given_back_once(invoice: Invoice, left: dict[int, Left], rows: Sequence[CreditedLine]) -> None:
    """Refuse to credit a core that was given back on the invoice already."""
    after = {**left, **{row.line.pk: Left(row.left.quantity + row.charge.quantity, NOTHING) for row in rows}}
    for key, out in cores_out(invoice, after).items():
        if out < 0:
            raise Refused(
                "This core was returned before the invoice and its deposit given back there: credit the returned "
                "core along with it.",
                f"line_{key}",
            )


def _taxes_back(invoice: Invoice, rows: Sequence[CreditedLine]) -> tuple[TaxSum, ...]:
    """The taxes of what is taken back, on the invoice's own rows.

    Each row is counted on all that was credited so far: its tax then, less what earlier credit notes took. So any
    portions come to the row itself to the cent, and no last one has to make up for what the others rounded away. A
    row taken back whole gives back what it says, which for a deposit was worked out of an amount with tax in it.
    """
    before = {
        tuple(row[name] for name in _OF_ONE_TAX): (row["base_sum"], row["tax_sum"])
        for row in InvoiceTax.objects.filter(invoice__corrects=invoice)
        .values(*_OF_ONE_TAX)
        .annotate(base_sum=Sum("base"), tax_sum=Sum("tax"))
    }
    taxes = []
    for row in invoice.taxes.all():
        classes = tuple(row.tax_classes.split())
        taken = [
            one.charge
            for one in rows
            if one.charge.tax_class in classes and one.line.invoice_operation.advance_id == row.advance_id
        ]
        base = sum((charge.net for charge in taken), NOTHING)
        key = tuple(getattr(row, name) for name in _OF_ONE_TAX)
        base_so_far, tax_so_far = before.get(key, (NOTHING, NOTHING))
        whole = base_so_far + base == -row.base
        tax = (-row.tax if whole else tax_on(base_so_far + base, row.rate)) - tax_so_far
        if taken:
            back = TaxSum(row.of_tax_id, row.label, base, row.rate, tax, classes, row.treatment, row.reason)
            taxes.append(replace(back, advance=row.advance_id))
    return tuple(taxes)
