"""What a credit note takes back: which quantities are left to credit, and what they come to."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from django.db.models import Sum

from garage.errors import Refused
from invoicing import charges, queries
from invoicing.comparing import how_much
from invoicing.models import Invoice, InvoiceLine, InvoiceOperation, InvoiceTax
from invoicing.sums import Charge, Sums, TaxSum, sum_up_in
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

    The last credit on a line takes what is left of its net, and the last one on the invoice what is left of its
    taxes, so that credits add up to the invoice to the cent. Raises Refused for nothing, or more than is left.
    """
    left = left_on(invoice)
    lines = {line.pk: line for operation in invoice.operations.all() for line in operation.lines.all()}
    quantities = _checked(wanted, left, lines)
    rows = tuple(_take_back(lines[key], quantity, left[key]) for key, quantity in quantities.items())
    whole = all(row.quantity == quantities.get(key, ZERO) for key, row in left.items())
    taken = [row.charge for row in rows]
    sums = _rest_of(invoice, taken) if whole else _at_its_rates(invoice, taken)
    return Credited(rows, {row.pk: row for row in invoice.operations.all()}, sums, whole)


def check_advance(advance: Invoice, taken: Credited) -> None:
    """Refuse to credit a part of an advance invoice, and one that an invoice takes off."""
    if not taken.whole:
        raise Refused("An advance invoice is credited whole: leave every quantity as it is.")
    for final in Invoice.objects.filter(operations__advance=advance):
        if not queries.taken_back(final):
            raise Refused(f"Invoice {final.label} takes this advance invoice off: credit that one first.")


def _checked(
    wanted: Mapping[int, Decimal] | None, left: dict[int, Left], lines: dict[int, InvoiceLine]
) -> dict[int, Decimal]:
    if wanted is None:
        wanted = {key: row.quantity for key, row in left.items()}
    for key, quantity in wanted.items():
        if key not in left:
            raise Refused("One of the lines is not on this invoice.")
        if not min(ZERO, left[key].quantity) <= quantity <= max(ZERO, left[key].quantity):
            line = lines[key]
            raise Refused(
                f"{line.description}: {how_much(left[key].quantity, line.unit)} can still be credited.", f"line_{key}"
            )
    quantities = {key: quantity for key, quantity in wanted.items() if quantity}
    if quantities and all(wanted.get(key) == row.quantity for key, row in left.items() if row.quantity > 0):
        # With all that was billed goes what was taken off it: an advance invoice stands again.
        quantities |= {key: row.quantity for key, row in left.items() if row.quantity < 0}
    if not quantities:
        raise Refused("There is nothing to credit: give at least one line a quantity.")
    return quantities


def _take_back(line: InvoiceLine, quantity: Decimal, left: Left) -> CreditedLine:
    charge = charges.charge_on_paper(line, line.line_id).at(-quantity)
    if quantity == left.quantity:
        charge = replace(charge, net=-left.net)
    return CreditedLine(line, charge)


def _at_its_rates(invoice: Invoice, taken: list[Charge]) -> Sums:
    """The sums with the taxes that the invoice itself was issued with, on the same groups of classes."""
    groups: dict[str, list[tuple[str, Decimal]]] = {}
    for row in invoice.taxes.all():
        if row.base < 0:  # of an advance invoice taken off: it carries no charge
            continue
        groups.setdefault(row.tax_classes, []).append((row.label, row.rate))
    return sum_up_in(taken, [(tuple(names.split()), tuple(carried)) for names, carried in groups.items()])


def _rest_of(invoice: Invoice, taken: list[Charge]) -> Sums:
    """The sums that bring everything credited on an invoice to the invoice itself."""
    untaxed = sum_up_in(taken, [])
    before = InvoiceTax.objects.filter(invoice__corrects=invoice)
    taxes = []
    for row in invoice.taxes.all():
        so_far = before.filter(label=row.label, rate=row.rate, tax_classes=row.tax_classes).aggregate(
            base=Sum("base"), tax=Sum("tax")
        )
        rest = TaxSum(
            row.label,
            -row.base - (so_far["base"] or NOTHING),
            row.rate,
            -row.tax - (so_far["tax"] or NOTHING),
            tuple(row.tax_classes.split()),
        )
        taxes.append(rest)
    tax = sum((row.tax for row in taxes), NOTHING)
    return replace(untaxed, taxes=tuple(taxes), tax=tax, gross=untaxed.net + tax)
