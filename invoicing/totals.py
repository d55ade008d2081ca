"""What an invoice adds up to: lines, taxes, total. Pure: no Django here.

Money is rounded half-up to cents at each line and at each tax group, never in between: the US rule carries
the tax to the third decimal and rounds up above 4 (Streamlined Sales and Use Tax Agreement § 324), which on
the exact product is plain half-up; EN 16931 asks the same of each rate (BR-CO-17). Where a place lets the
tax be rounded down (UK VAT Notice 700, 17.5), `rounding="down"` drops the fraction of a cent.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal, localcontext

from garage.money import round_money
from garage.numbers import WORKING, exact, not_negative
from jobs.amounts import amount

UNTAXED = "none"
BASES = ("invoice", "line")
ROUNDINGS = ("half_up", "down")
CENT = Decimal("0.01")
NOTHING = Decimal("0.00")


@dataclass(frozen=True)
class ChargeLine:
    """The net amount of one line, and the class that decides its taxes; a credit is below zero."""

    net: Decimal
    tax_class: str


@dataclass(frozen=True)
class TaxRate:
    """One tax on one class, as a share: 0.0725 is 7.25%. A class may have several, as state and county."""

    tax_class: str
    label: str
    rate: Decimal


@dataclass(frozen=True)
class TaxRow:
    """One tax as the invoice prints it: what it is on, its share, and the money."""

    label: str
    base: Decimal
    rate: Decimal
    tax: Decimal


@dataclass(frozen=True)
class Totals:
    """The sum before tax, the taxes, and the sum to pay; gross is always net plus the taxes."""

    net: Decimal
    taxes: list[TaxRow]
    gross: Decimal


def line_net(quantity: Decimal, unit_price: Decimal, discount: Decimal | int = 0) -> Decimal:
    """quantity × unit price × (1 − discount), rounded half-up to cents once.

    `discount` is a share from 0 to 1. A returned piece has a quantity below zero, an allowance a price
    below zero. Raises ValueError for a discount outside its range and for a non-finite figure.
    """
    return amount(quantity, unit_price, exact(discount, "Discount"))


def total(
    lines: Iterable[ChargeLine],
    rates: Iterable[TaxRate],
    basis: str = "invoice",
    rounding: str = "half_up",
) -> Totals:
    """Add up lines and their taxes, with one row for each tax of each class, also at a rate of zero.

    Basis "invoice" rounds each row's tax once, on the sum of its lines; basis "line" rounds the tax of each
    line. Rounding "down" goes toward zero, so that a credit note takes back exactly what was charged. Rows
    come in the order in which classes first appear in the lines, then in the order of `rates`. Raises
    ValueError for a class without a rate (except "none"), a rate outside 0 to 1 or given twice, and an
    unknown basis or rounding.
    """
    _one_of(basis, BASES, "Basis")
    _one_of(rounding, ROUNDINGS, "Rounding")
    by_class = _nets_by_class(lines)
    rates_of = _rates_by_class(rates)
    taxes: list[TaxRow] = []
    with localcontext(WORKING):
        for tax_class, nets in by_class.items():
            if tax_class not in rates_of and tax_class != UNTAXED:
                raise ValueError(f'Tax class "{tax_class}" has no rate.')
            base = sum(nets, NOTHING)
            taxed = nets if basis == "line" else [base]
            for rate in rates_of.get(tax_class, ()):
                tax = sum((_round_tax(net * rate.rate, rounding) for net in taxed), NOTHING)
                taxes.append(TaxRow(rate.label, base, rate.rate, tax))
        net = sum((net for nets in by_class.values() for net in nets), NOTHING)
        gross = net + sum((row.tax for row in taxes), NOTHING)
    return Totals(net, taxes, gross)


def _nets_by_class(lines: Iterable[ChargeLine]) -> dict[str, list[Decimal]]:
    by_class: dict[str, list[Decimal]] = {}
    for number, line in enumerate(lines, start=1):
        tax_class = _text(line.tax_class, f"Tax class of line {number}")
        by_class.setdefault(tax_class, []).append(exact(line.net, f"Net of line {number}"))
    return by_class


def _rates_by_class(rates: Iterable[TaxRate]) -> dict[str, list[TaxRate]]:
    """Read every rate, used or not; the same tax twice on a class would be charged twice."""
    by_class: dict[str, list[TaxRate]] = {}
    for number, given in enumerate(rates, start=1):
        rate = TaxRate(
            _text(given.tax_class, f"Tax class of rate {number}"),
            _text(given.label, f"Label of rate {number}"),
            _share(given.rate, f"Rate {number}"),
        )
        others = by_class.setdefault(rate.tax_class, [])
        if rate in others:
            raise ValueError(f'Rate {number} is given twice: "{rate.label}" on class "{rate.tax_class}".')
        others.append(rate)
    return by_class


def _round_tax(tax: Decimal, rounding: str) -> Decimal:
    if rounding == "down":
        return tax.quantize(CENT, rounding=ROUND_DOWN) + 0  # + 0: no minus zero
    return round_money(tax)


def _share(value: Decimal | int, name: str) -> Decimal:
    share = not_negative(value, name)
    if share > 1:
        raise ValueError(f"{name} must be a share from 0 to 1, not {share}: 0.20 is 20%.")
    return share


def _text(value: str, name: str) -> str:
    if not value:
        raise ValueError(f"{name} is missing.")
    return value


def _one_of(value: str, known: Sequence[str], name: str) -> None:
    if value not in known:
        raise ValueError(f'{name} must be one of {", ".join(known)}, not "{value}".')
