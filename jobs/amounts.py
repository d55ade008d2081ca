"""What a line comes to: one unit a line, charged as it is printed. Pure: no Django here.

Quantity and price of a line stand in one unit, the one that was typed: the quantity to three decimals of it, the
price to the cent in it (below 1.00 to a hundredth of a cent). What they multiply to is what the customer pays; what
left the shelf is kept exact beside it, in the base unit.
"""

from dataclasses import dataclass
from decimal import Decimal, localcontext

from garage.money import round_money
from garage.numbers import WORKING, exact, not_negative, round_half_up
from garage.units import DIMENSION, convert, price_per

#: Nobody prices a milliliter: what is typed in one is charged by the liter, whose thousandth it is.
CHARGED_IN = {"mL": "L"}
#: The units a volume can be charged in.
VOLUMES = ("L", "qt", "gal", "floz", "impqt", "impgal")


@dataclass(frozen=True)
class Priced:
    """A line's figures as they are printed and charged, and the same quantity exact in the base unit."""

    quantity: Decimal
    unit: str
    unit_price: Decimal
    base_quantity: Decimal


def priced(quantity: Decimal, unit: str, unit_price: Decimal, per: str | None = None) -> Priced:
    """The figures of a line typed as `quantity` of `unit`, at a price per `per` (None: the unit it is charged in).

    Raises ValueError for units of different dimensions and for a non-finite figure.
    """
    charged = charged_unit(unit)
    return Priced(
        quantity=charged_quantity(quantity, unit, charged),
        unit=charged,
        unit_price=charged_price(unit_price, per or charged, charged),
        base_quantity=in_base(quantity, unit),
    )


def charged_unit(unit: str) -> str:
    """The unit in which a line typed in `unit` is charged: hours, pieces and volumes in their own, mL in L."""
    return CHARGED_IN.get(unit, unit)


def base_unit(unit: str) -> str:
    """The unit the shelf counts in: L for every volume, else the unit itself."""
    return "L" if DIMENSION.get(unit) == "volume" else unit


def charged_quantity(quantity: Decimal, unit: str, to: str) -> Decimal:
    """A quantity brought into a line's unit and rounded half-up to three decimals of it."""
    return round_half_up(_converted(quantity, unit, to), 3)


def charged_price(price: Decimal, per: str, to: str) -> Decimal:
    """A price restated per unit of the line: to the cent, below 1.00 to four decimals; half-up."""
    restated = exact(price, "Unit price") if per == to else price_per(price, per, to)
    return round_money(restated) if abs(restated) >= 1 else round_half_up(restated, 4)


def in_base(quantity: Decimal, unit: str) -> Decimal:
    """A quantity in the base unit, exact to the nine places that the shelf keeps."""
    return round_half_up(_converted(quantity, unit, base_unit(unit)), 9)


def _converted(quantity: Decimal, unit: str, to: str) -> Decimal:
    return exact(quantity, "Quantity") if unit == to else convert(quantity, unit, to)


def amount(quantity: Decimal, unit_price: Decimal, discount: Decimal = Decimal(0)) -> Decimal:
    """quantity × unit price × (1 − discount), rounded half-up to cents once.

    `discount` is a share from 0 to 1. A returned piece has a quantity below zero, an allowance a price below zero.
    Raises ValueError for a discount outside its range and for a non-finite figure.
    """
    share = not_negative(discount, "Discount")
    if share > 1:
        raise ValueError(f"Discount must be a share from 0 to 1, not {share}: 0.20 is 20%.")
    with localcontext(WORKING):
        net = exact(quantity, "Quantity") * exact(unit_price, "Unit price") * (1 - share)
    return round_money(net)
