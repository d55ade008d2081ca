"""What a credit note takes back: which quantities are left to credit, and what they come to."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from django.db.models import Sum

from garage.errors import Refused
from invoicing import charges
from invoicing.comparing import how_much
from invoicing.models import Invoice, InvoiceLine, InvoiceOperation, InvoiceTax
from invoicing.sums import Charge, Sums, TaxSum, tax_on, with_taxes
from invoicing.totals import NOTHING

ZERO = Decimal(0)


@dataclass(frozen=True)
class Left:
    """What of an invoice line has not been credited yet: its quantity and its net."""

    quantity: Decimal
    net: Decimal


@dataclass(frozen=True)
class CreditedLine:
    """One line taken back: the invoice's line, and the charge below zero. Returning stock is the shelf's own act, so
    the cost that was given up stays given up."""

    line: InvoiceLine
    charge: Charge
    cost: Decimal = ZERO


@dataclass(frozen=True)
class Credited:
    """All that a credit note takes back; `whole` when nothing of the invoice is left."""

    lines: tuple[CreditedLine, ...]
    operations: dict[int, InvoiceOperation]
    sums: Sums
    whole: bool

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
    return {
        line.pk: Left(
            line.quantity + taken.get(line.pk, Left(ZERO, NOTHING)).quantity,
            line.net + taken.get(line.pk, Left(ZERO, NOTHING)).net,
        )
        for operation in invoice.operations.all()
        for line in operation.lines.all()
    }


def credited(invoice: Invoice, wanted: Mapping[int, Decimal] | None) -> Credited:
    """Work out a credit note over the wanted quantities by line (None: all that is left).

    The last credit on a line takes what is left of its net, and each one the invoice's own taxes on all that was
    credited so far, so that credits add up to the invoice to the cent. Raises Refused for nothing, and for more than
    is left.
    """
    left = left_on(invoice)
    lines = {line.pk: line for operation in invoice.operations.all() for line in operation.lines.all()}
    quantities = _checked(wanted, left, lines)
    rows = tuple(_take_back(lines[key], quantity, left[key]) for key, quantity in quantities.items())
    whole = all(row.quantity == quantities.get(key, ZERO) for key, row in left.items())
    taken = [row.charge for row in rows]
    sums = with_taxes(taken, _taxes_back(invoice, taken))
    return Credited(rows, {row.pk: row for row in invoice.operations.all()}, sums, whole)


def _checked(
    wanted: Mapping[int, Decimal] | None, left: dict[int, Left], lines: dict[int, InvoiceLine]
) -> dict[int, Decimal]:
    if wanted is None:
        wanted = {key: row.quantity for key, row in left.items()}
    for key, quantity in wanted.items():
        if key not in left:
            raise Refused("One of the lines is not on this invoice.")
        if not 0 <= quantity <= left[key].quantity:
            line = lines[key]
            raise Refused(
                f"{line.description}: {how_much(left[key].quantity, line.unit)} can still be credited.", f"line_{key}"
            )
    quantities = {key: quantity for key, quantity in wanted.items() if quantity > 0}
    if not quantities:
        raise Refused("There is nothing to credit: give at least one line a quantity.")
    return quantities


def _take_back(line: InvoiceLine, quantity: Decimal, left: Left) -> CreditedLine:
    charge = charges.charge_on_paper(line, line.line_id).at(-quantity)
    if quantity == left.quantity:
        charge = replace(charge, net=-left.net)
    return CreditedLine(line, charge)


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
