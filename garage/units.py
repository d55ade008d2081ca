"""Units of measure: exact conversion, typed quantities, and one figure shown in both units.

The factors are our own, written exactly (NIST Handbook 44 Appendix C and NIST SP 811 Appendix B; the imperial
gallon by the UK Weights and Measures Act 1985). Pint does the converting, on Decimal; its own table is not
loaded, because its quart is off in the 28th digit.
"""

import re
import unicodedata
from decimal import Decimal, localcontext
from functools import cache
from typing import Any, Final, NamedTuple

import pint

from garage.numbers import WORKING, answer, exact, not_negative, round_half_up, whole


class Unit(NamedTuple):
    """What a unit measures, its definition for pint, how it is printed, its companion, its decimals there."""

    dimension: str
    definition: str
    label: str
    other: str | None
    places: int


# The base unit of a dimension is defined by the dimension in brackets, one for each kind of thing, so that a
# torque is never taken for an energy. A pound-force is 0.45359237 kg x 9.80665 m/s2 = 4.4482216152605 N.
_UNITS: Final[dict[str, Unit]] = {
    "L": Unit("volume", "[volume]", "L", "qt", 3),
    "mL": Unit("volume", "0.001 * L", "mL", "floz", 0),
    "gal": Unit("volume", "3.785411784 * L", "gal", "L", 3),
    "qt": Unit("volume", "gal / 4", "qt", "L", 3),
    "floz": Unit("volume", "gal / 128", "fl oz", "mL", 1),
    "impgal": Unit("volume", "4.54609 * L", "imp gal", "L", 3),
    "impqt": Unit("volume", "impgal / 4", "imp qt", "L", 3),
    "N_m": Unit("torque", "[torque]", "N·m", "ft_lb", 1),
    "ft_lb": Unit("torque", "4.4482216152605 * 0.3048 * N_m", "ft·lb", "N_m", 1),
    "in_lb": Unit("torque", "4.4482216152605 * 0.0254 * N_m", "in·lb", "N_m", 1),
    "mm": Unit("length", "[length]", "mm", "in", 2),
    "in": Unit("length", "25.4 * mm", "in", "mm", 3),
    "km": Unit("length", "1000000 * mm", "km", "mi", 0),
    "mi": Unit("length", "1.609344 * km", "mi", "km", 0),
    "kPa": Unit("pressure", "[pressure]", "kPa", "psi", 0),
    "bar": Unit("pressure", "100 * kPa", "bar", "psi", 2),
    "psi": Unit("pressure", "4.4482216152605 / (25.4 * 25.4) * 1000 * kPa", "psi", "kPa", 1),
    "degC": Unit("temperature", "kelvin; offset: 273.15", "°C", "degF", 0),
    "degF": Unit("temperature", "5 / 9 * kelvin; offset: 459.67 * 5 / 9", "°F", "degC", 0),
    "kg": Unit("mass", "[mass]", "kg", "lb", 2),
    "lb": Unit("mass", "0.45359237 * kg", "lb", "kg", 2),
    "each": Unit("count", "[count]", "ea", None, 0),
}

#: What each unit code measures, by code.
DIMENSION: Final[dict[str, str]] = {code: unit.dimension for code, unit in _UNITS.items()}

_ABSOLUTE_ZERO: Final = {"degC": Decimal("-273.15"), "degF": Decimal("-459.67")}

# Volumes that are poured by the liter: shown with the decimals of the place, shelf three, bay two.
_POURED: Final = frozenset({"L", "qt", "gal", "impgal", "impqt"})

# Ways to write a unit, squeezed: lower case, no separators, "imp" for imperial, "meter" and "liter" for -re.
_ALIASES: Final[dict[str, str]] = {
    alias: code
    for code, aliases in {
        "L": "l lt ltr liter ℓ",
        "mL": "ml cc ccm cm3 cm³ milliliter",
        "gal": "gal gallon usgal usgallon",
        "qt": "qt quart usqt usquart",
        "floz": "floz fluidoz fluidounce usfloz usfluidounce",
        "impgal": "impgal impgallon",
        "impqt": "impqt impquart",
        "N_m": "nm newtonmeter",
        "ft_lb": "ftlb ftlbf lbft lbsft lbfft footpound poundfoot poundfeet",
        "in_lb": "inlb inlbf lbin lbsin lbfin inchpound poundinch poundinches",
        "mm": "mm millimeter",
        "in": 'in inch inches " ″ ”',
        "km": "km kilometer",
        "mi": "mi mile",
        "kPa": "kpa kilopascal",
        "bar": "bar",
        "psi": "psi lb/in2 lbf/in2 lb/in² lbf/in²",
        "degC": "c degc celsius degcelsius degreecelsius degreescelsius",
        "degF": "f degf fahrenheit degfahrenheit degreefahrenheit degreesfahrenheit",
        "kg": "kg kilo kilogram",
        "lb": "lb pound",
        "each": "each ea pc piece",
    }.items()
    for alias in aliases.split()
}

_VULGAR = re.compile("[¼-¾⅐-⅞]")
_QUANTITY = re.compile(
    r"""(?: (?:(?P<whole>[0-9]+)\s+)? (?P<top>[0-9]+) \s*/\s* (?P<bottom>[0-9]+)
          | (?P<plain>[0-9]*[.,]?[0-9]+) )
        \s* (?P<unit>[^\W\d_].*|[°º"″”℃℉].*)?""",
    re.VERBOSE,
)
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_SEPARATORS = re.compile(r"[\s.*·⋅∙•×_‐‑–-]+")
_DEGREES = str.maketrans({"°": "deg", "º": "deg", "℃": "degc", "℉": "degf"})
_LONGEST_TEXT = 60


@cache
def _registry() -> "pint.UnitRegistry[Any]":
    registry: pint.UnitRegistry[Any] = pint.UnitRegistry(None, non_int_type=Decimal)
    with localcontext(WORKING):
        registry.define("kelvin = [temperature]")
        for code, unit in _UNITS.items():
            registry.define(f"{code} = {unit.definition}")
    return registry


def convert(value: Decimal, unit: str, to: str) -> Decimal:
    """Convert `value` from one unit code to another; exact to 28 digits and not rounded further.

    Raises ValueError for an unknown code, units of different dimensions, a value that is no finite Decimal or
    whole number, and a temperature below absolute zero.
    """
    number = exact(value, "Value")
    _same_dimension(unit, to)
    lowest = _ABSOLUTE_ZERO.get(unit)
    if lowest is not None and number < lowest:
        raise ValueError(f"Value is below absolute zero: {number} {label(unit)}.")
    return number if unit == to else answer(_converted(number, unit, to))


def price_per(price: Decimal, per: str, to: str) -> Decimal:
    """Restate a price per `per` as a price per `to`: 36 per L is 34.068706056 per qt. Exact to 28 digits.

    Raises ValueError as `convert` does, and for a price below zero or a temperature.
    """
    number = not_negative(price, "Price")
    if _same_dimension(per, to) == "temperature":
        raise ValueError("Price cannot be for a temperature.")
    if per == to:
        return number
    with localcontext(WORKING):
        return answer(number * _converted(Decimal(1), to, per))


def parse_quantity(text: str, default_unit: str | None = None) -> tuple[Decimal, str]:
    """Read a quantity as typed and return the typed number and its unit code.

    Understands `0.85`, `0,85 L`, `850 ml`, `3/4 qt`, `1 1/2 gal`, `1½ gal` and the trade's ways to write a
    unit. A number without a unit takes `default_unit`. Raises ValueError with a sentence for the person who
    typed it: no number or unit, a comma that may group thousands, a sign, an exponent, a zero denominator, a
    bare `oz`.
    """
    if not isinstance(text, str):
        raise ValueError(f"Quantity must be text, not {type(text).__name__}.")
    typed = " ".join(text.split())
    if not typed:
        raise ValueError("Quantity is empty: write a number and a unit, such as 0.85 L.")
    if len(typed) > _LONGEST_TEXT:
        raise ValueError(f"Quantity is too long: {_LONGEST_TEXT} characters are enough.")
    spelled_out = _VULGAR.sub(lambda found: " " + unicodedata.normalize("NFKC", found[0]), typed)
    found = _QUANTITY.fullmatch(spelled_out.replace("⁄", "/").replace("∕", "/").strip())
    if found is None:
        raise ValueError(f"Quantity “{typed}” is not understood: write it like 0.85 L, 850 mL, 3/4 qt or 1 1/2 gal.")
    number = _plain(found["plain"], typed) if found["plain"] else _fraction(found, typed)
    if found["unit"]:
        return exact(number, "Quantity"), unit_code(found["unit"])
    if default_unit is None:
        raise ValueError(f"Quantity “{typed}” needs a unit, such as L, mL or qt.")
    return exact(number, "Quantity"), _known(default_unit)


def unit_code(text: str) -> str:
    """Return the code of a unit as written: `ft-lb`, `lbf·ft`, `Nm`, `fl. oz.`, `°C`; else ValueError."""
    key = _SEPARATORS.sub("", text.lower().translate(_DEGREES))
    key = re.sub("^(imperial|uk)", "imp", key).replace("metre", "meter").replace("litre", "liter")
    singular = key[:-1] if len(key) > 2 and key.endswith("s") else key
    if singular in {"oz", "ozs", "ounce"}:
        raise ValueError(f"Unit “{text}” can be a volume or a weight: write fl oz for fluid ounces.")
    code = _ALIASES.get(key) or _ALIASES.get(singular)
    if code is None:
        raise ValueError(f"Unit “{text}” is not known.")
    return code


def typed_unit(text: str, default: str) -> str:
    """Return the unit somebody typed, when it measures the same as the default; else the default."""
    try:
        unit = parse_quantity(text, default)[1]
    except ValueError:
        return default
    return unit if DIMENSION[unit] == DIMENSION[default] else default


def label(unit: str) -> str:
    """Return the unit as it is printed: `N·m`, `ft·lb`, `°C`, `L`, `qt`. Unknown code: ValueError."""
    return _UNITS[_known(unit)].label


def other_unit(unit: str) -> str | None:
    """Return the code shown beside `unit` (L and qt, N·m and ft·lb, …); None for what is counted."""
    return _UNITS[_known(unit)].other


def pair(unit: str) -> list[str]:
    """The labels of a unit and of the one shown beside it: `["N·m", "ft·lb"]`; nothing for what is counted."""
    other = other_unit(unit) if unit in DIMENSION else None
    return [label(unit), label(other)] if other else []


def both(value: Decimal, unit: str, places: int = 3) -> str:
    """Return a figure in its own unit first and the other beside it: `0.850 L · 0.898 qt`.

    `places` is for poured volumes: three decimals, two in the bay. Everything else shows its first figure as
    written and the other with the decimals its unit is usually read with: `13 ft·lb · 17.6 N·m`.
    """
    first, other = figure(value, unit, unit, places), other_unit(unit)
    return first if other is None else f"{first} · {figure(value, unit, other, places)}"


def figure(value: Decimal, unit: str, to: str, places: int = 3) -> str:
    """Return a figure of `unit` as it is shown in `to`: as written in its own unit, else as `to` is usually read."""
    number = exact(value, "Value")
    whole(places, "Places", least=0, most=9)
    if unit == to:
        return _shown(number, unit, places if unit in _POURED else None)
    return _shown(convert(number, unit, to), to, places if to in _POURED else _UNITS[to].places)


def _shown(number: Decimal, unit: str, places: int | None) -> str:
    if places is None:
        # As written; only the zeros that storage pads a number with are dropped.
        padded = number.as_tuple().exponent
        number = answer(number) if isinstance(padded, int) and not -3 <= padded <= 0 else number
    else:
        number = round_half_up(number, places)
    return f"{number:f} {label(unit)}"


def _converted(number: Decimal, unit: str, to: str) -> Decimal:
    with localcontext(WORKING):
        converted: Decimal = _registry().convert(number, unit, to)
    return converted


def _known(unit: object) -> str:
    if not isinstance(unit, str) or unit not in _UNITS:
        raise ValueError(f"Unit “{unit}” is not known.")
    return unit


def _same_dimension(unit: str, to: str) -> str:
    dimension, wanted = DIMENSION[_known(unit)], DIMENSION[_known(to)]
    if dimension != wanted:
        raise ValueError(f"Unit {label(unit)} measures {dimension}, but {label(to)} measures {wanted}.")
    return dimension


def _plain(number: str, typed: str) -> Decimal:
    if _THOUSANDS.fullmatch(number):
        thousands, decimals = number.replace(",", ""), number.replace(",", ".")
        raise ValueError(f"Quantity “{typed}” can be read two ways: write {thousands} or {decimals}.")
    return Decimal(number.replace(",", "."))


def _fraction(found: re.Match[str], typed: str) -> Decimal:
    top, bottom = int(found["top"]), int(found["bottom"])
    if bottom == 0:
        raise ValueError(f"Quantity “{typed}” has a zero below the line.")
    if found["whole"] and top >= bottom:
        raise ValueError(f"Quantity “{typed}” has more than a whole in its fraction.")
    with localcontext(WORKING):
        return answer(int(found["whole"] or 0) + Decimal(top) / bottom)
