"""The selling price from the cost, by bands of markup. Pure: no Django here."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext

from garage.numbers import WORKING, not_negative


@dataclass(frozen=True)
class Band:
    """A markup for unit costs up to and including `up_to`; the last band has no limit (None).

    `markup` is a share of the cost: 0.40 adds 40%.
    """

    up_to: Decimal | None
    markup: Decimal


def selling_price(unit_cost: Decimal, bands: Sequence[Band]) -> Decimal:
    """The price of one unit: its cost plus the markup of the first band that reaches the cost. Not rounded.

    Markup is on cost, not margin on price: 0.40 on 10.00 gives 14.00. Raises ValueError for a negative cost,
    limit or markup, for no bands, for limits that do not rise, and for a list whose last band is not open.
    """
    cost = not_negative(unit_cost, "Unit cost")
    markup = next(markup for up_to, markup in _checked(bands) if up_to is None or cost <= up_to)
    with localcontext(WORKING):
        return cost * (1 + markup)


def _checked(bands: Sequence[Band]) -> list[tuple[Decimal | None, Decimal]]:
    """Read every band, also those after the one that is needed: a wrong table is wrong for every cost."""
    if not bands:
        raise ValueError("Bands are missing: there must be at least one, without a limit.")
    checked: list[tuple[Decimal | None, Decimal]] = []
    below: Decimal | None = None
    for number, band in enumerate(bands, start=1):
        markup = not_negative(band.markup, f"Markup of band {number}")
        limit = None
        if band.up_to is None:
            if number != len(bands):
                raise ValueError(f"Limit of band {number} is missing: only the last band is open.")
        else:
            limit = not_negative(band.up_to, f"Limit of band {number}")
            if number == len(bands):
                raise ValueError(f"Limit of band {number} must be left open: it is the last band.")
            if below is not None and limit <= below:
                raise ValueError(f"Limit of band {number} must be above {below}, the one before it.")
            below = limit
        checked.append((limit, markup))
    return checked
