"""What a credit note takes back: which quantities are left to credit, and what they come to."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from django.db.models import Sum

from garage.errors import Refused
from invoicing import charges
from invoicing.comparing import amount, how_much
from invoicing.models import Invoice, InvoiceLine, InvoiceOperation, InvoiceTax
from invoicing.sums import Charge, Sums, TaxSum, tax_on, with_taxes
from invoicing.totals import NOTHING

ZERO = Decimal(0)


@dataclass(frozen=True)
class Left:
    """What of an invoice line has not been credited yet: its quantity (below zero where it is), net and cost."""

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
        row["credits"]: Left(row["quantity"], row["net_sum"], row["cost_sum"])
        for row in rows.annotate(quantity=Sum("quantity"), net_sum=Sum("net"), cost_sum=Sum("cost"))
    }
    left = {}
    for line in lines_of(invoice):
        so_far = taken.get(line.pk, Left(ZERO, NOTHING))
        left[line.pk] = Left(line.quantity + so_far.quantity, line.net + so_far.net, line.cost + so_far.cost)
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
    quantities = _checked(wanted, left, lines)
    rows = tuple(_take_back(lines[key], quantity, left[key]) for key, quantity in quantities.items())
    _cores_given_back_once(invoice, left, rows)
    whole = all(abs(row.quantity) == quantities.get(key, ZERO) for key, row in left.items())
    taken = [row.charge for row in rows]
    sums = with_taxes(taken, _taxes_back(invoice, taken))
    if sums.gross > 0:
        raise Refused(
            f"This would charge {amount(sums.gross)} more: a credit gives money back. Credit what the goodwill or the "
            "returned core stands under as well."
        )
    gone = [(lines[key], row) for key, row in left.items() if not row.quantity and row.cost]
    spent = tuple(CreditedLine(line, row, charges.charge_on_paper(line, line.line_id).at(ZERO)) for line, row in gone)
    return Credited(rows, {row.pk: row for row in invoice.operations.all()}, sums, whole, spent=spent)


def _checked(
    wanted: Mapping[int, Decimal] | None, left: dict[int, Left], lines: dict[int, InvoiceLine]
) -> dict[int, Decimal]:
    if wanted is None:
        wanted = {key: abs(row.quantity) for key, row in left.items()}
    for key, quantity in wanted.items():
        if key not in left:
            raise Refused("One of the lines is not on this invoice.")
        if not 0 <= quantity <= (most := abs(left[key].quantity)):
            line = lines[key]
            raise Refused(f"{line.description}: {how_much(most, line.unit)} can still be credited.", f"line_{key}")
    quantities = {key: quantity for key, quantity in wanted.items() if quantity > 0}
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
                "This core was handed in before the invoice and its deposit given back there: credit the returned "
                "core along with it.",
                f"line_{key}",
            )


def _taxes_back(invoice: Invoice, taken: list[Charge]) -> tuple[TaxSum, ...]:
    """The taxes of what is taken back, on the invoice's own rows.

    Each row is counted on all that was credited so far: its tax then, less what earlier credit notes took. So any
    portions come to the row itself to the cent, and no last one has to make up for what the others rounded away.
    """
    before = {
        (row["of_tax"], row["rate"], row["treatment"], row["reason"]): (row["base_sum"], row["tax_sum"])
        for row in InvoiceTax.objects.filter(invoice__corrects=invoice)
        .values("of_tax", "rate", "treatment", "reason")
        .annotate(base_sum=Sum("base"), tax_sum=Sum("tax"))
    }
    taxes = []
    for row in invoice.taxes.all():
        classes = tuple(row.tax_classes.split())
        base = sum((charge.net for charge in taken if charge.tax_class in classes), NOTHING)
        key = (row.of_tax_id, row.rate, row.treatment, row.reason)
        base_so_far, tax_so_far = before.get(key, (NOTHING, NOTHING))
        tax = tax_on(base_so_far + base, row.rate) - tax_so_far
        if any(charge.tax_class in classes for charge in taken):
            taxes.append(TaxSum(row.of_tax_id, row.label, base, row.rate, tax, classes, row.treatment, row.reason))
    return tuple(taxes)
