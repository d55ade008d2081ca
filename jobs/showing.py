"""How a line’s figures are written: in the line's own unit, the other beside it and not multiplied."""

from decimal import Decimal

from garage import units
from garage.forms_fields import plain_text
from garage.money import round_money, spoken
from garage.numbers import minus


def quantity(value: Decimal, unit: str) -> tuple[str, str]:
    """A quantity in `unit` as it is shown, and the same in the other unit or nothing: "1.700 L" and "1.796 qt"."""
    if unit not in units.DIMENSION or units.other_unit(unit) is None:
        return minus(plain_text(value) + (" hr" if unit == "h" else "")), ""
    other = units.other_unit(unit) or unit
    return poured(value, unit), poured(units.convert(value, unit, other), other)


def poured(value: Decimal, unit: str) -> str:
    """A volume with three decimals: 1.700 L. The sheet, papers and their sentences write it alike."""
    return minus(f"{round_money(value, 3):,f} {units.label(unit)}")


def price(value: Decimal, unit: str) -> tuple[str, str]:
    """A price per `unit` as it is shown, and the same per the other unit or nothing: "29.04 / qt", "30.69 / L"."""
    shown = minus(f"{value:,.{max(2, _places(value))}f}")
    if unit == "each":
        return shown, ""
    if unit == "h":
        return f"{shown} / hr", ""
    other = units.other_unit(unit) or unit
    return f"{shown} / {units.label(unit)}", f"{_cents(units.price_per(value, unit, other))} / {units.label(other)}"


def if_needed(most: Decimal, unit: str, net: Decimal) -> str:
    """How a line that may turn out not to be needed is named: "if needed, up to $28.00", "up to 0.500 L, $30.60"."""
    much = "" if most == 1 and unit == "each" else f"{quantity(most, unit)[0]}, "
    return f"if needed, up to {much}{spoken(net)}"


def _cents(value: Decimal) -> str:
    return f"{round_money(value):,.2f}"


def _places(value: Decimal) -> int:
    return len(plain_text(value).partition(".")[2])
