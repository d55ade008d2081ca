"""How a line’s figures are written: the unit that was typed first, the other beside it."""

from decimal import Decimal

from garage import units
from garage.forms_fields import plain_text
from garage.money import round_money


def quantity(value: Decimal, unit: str, typed: str = "") -> tuple[str, str]:
    """A quantity kept in `unit` (h, each or L) as it is shown, and the same in the other unit or nothing.

    1.7 L gives "1.700 L" and "1.796 qt", typed as 1.796 qt it gives quarts first; 850 mL stands beside both.
    """
    if unit != "L":
        return plain_text(value) + (" h" if unit == "h" else ""), ""
    first = units.typed_unit(typed, unit)
    shown, _, other = units.both(units.convert(value, unit, first), first).partition(" · ")
    return shown, other if first in ("L", "qt") else units.both(value, unit)


def price(value: Decimal, unit: str) -> tuple[str, str]:
    """A price per `unit` as it is shown, and the same per the other unit or nothing: "61.20 / L", "57.92 / qt"."""
    shown = f"{value:,.{max(2, _places(value))}f}"
    if unit == "each":
        return shown, ""
    if unit == "h":
        return f"{shown} / h", ""
    return f"{shown} / L", f"{round_money(units.price_per(value, 'L', 'qt')):,.2f} / qt"


def _places(value: Decimal) -> int:
    return len(plain_text(value).partition(".")[2])
