"""The kinds of fluid a procedure may be about, and what is looked at of each: the words of its sample form and the
figures a tester gives. Each word leads to the sign it is (fluid_signs.py), or to none. Pure: no Django here.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from garage.numbers import minus, round_half_up
from garage.units import DIMENSION, both, convert, parse_quantity
from jobs.fluid_signs import BRAKE_SIGNS, COOLANT_SIGNS, LABORATORY, OIL_SIGNS, Sign

#: What a sample form may ask; a kind of fluid asks some of them, each answered with one word.
THINGS: Final = ("color", "clarity", "particles", "smell")
#: The figures a sample may have, each with a tester of its own; none must be given.
FREEZE_POINT, WATER, BOILING_POINT = FIGURES = ("freeze_point", "water", "boiling_point")

#: A color that was seen leads to a sign of its own, or to none when it is that of the fresh fluid beside it.
FRESH: Final = "as fresh"

#: Dry and wet minimum of the boiling point by grade, °C: 49 CFR 571.116 S5.1.1 and S5.1.2.
BRAKE_GRADES: Final = {
    "3": (Decimal(205), Decimal(140)),
    "4": (Decimal(230), Decimal(155)),
    "5": (Decimal(260), Decimal(180)),
    "5.1": (Decimal(260), Decimal(180)),
}


@dataclass(frozen=True)
class Fluid:
    """One kind of fluid: which words are offered for each thing looked at, the sign each leads to, what is measured."""

    name: str
    words: Mapping[str, Mapping[str, str]]
    signs: Mapping[str, Sign]
    other_color: str = "dark"
    measured: tuple[str, ...] = ()
    laboratory: tuple[Sign, ...] = ()


_OIL_WORDS: Final[Mapping[str, Mapping[str, str]]] = {
    "color": {
        FRESH: "",
        "a little darker": "dark",
        "amber": "dark",
        "brown": "brown",
        "dark brown": "brown",
        "black": "dark",
        "gray": "dark",
        "pink": "dark",
    },
    "clarity": {"clear": "", "cloudy": "cloudy", "opaque": "opaque", "milky": "milky"},
    "particles": {"none": "", **{name: name for name in ("paste", "glitter", "flakes", "chunks")}},
    "smell": {"usual": "", "burnt": "burnt", "other": "other smell"},
}

_COOLANT_WORDS: Final[Mapping[str, Mapping[str, str]]] = {
    "color": {FRESH: "", "faded": "faded", "another color": "mixed", "brown": "brown", "rusty brown": "brown"},
    "clarity": {"clear": "", "cloudy": "cloudy", "opaque": "opaque", "milky": "milky"},
    "particles": {"none": "", "rust": "rust", "scale": "scale", "jelly": "jelly", "film": "oil film"},
    "smell": {"usual": "", "exhaust": "exhaust", "other": "other smell"},
}

_BRAKE_WORDS: Final[Mapping[str, Mapping[str, str]]] = {
    "color": {
        FRESH: "",
        "amber": "dark",
        "brown": "dark",
        "dark brown": "dark",
        "black": "dark",
        "purple": "other kind",
        "green": "other kind",
    },
    "clarity": {"clear": "", "cloudy": "cloudy", "opaque": "opaque", "layers": "layers", "milky": "layers"},
    "particles": {"none": "", "specks": "specks", "rust": "rust"},
}

OIL: Final = "oil"
AUTOMATIC, COOLANT, BRAKE = "automatic", "coolant", "brake fluid"

#: Every kind by the word that a procedure file has for it. Oil and automatic are looked at alike.
FLUIDS: Final[dict[str, Fluid]] = {
    OIL: Fluid(OIL, _OIL_WORDS, OIL_SIGNS, laboratory=LABORATORY),
    AUTOMATIC: Fluid(AUTOMATIC, _OIL_WORDS, OIL_SIGNS, laboratory=LABORATORY),
    COOLANT: Fluid(COOLANT, _COOLANT_WORDS, COOLANT_SIGNS, "mixed", (FREEZE_POINT,)),
    BRAKE: Fluid(BRAKE, _BRAKE_WORDS, BRAKE_SIGNS, measured=(WATER, BOILING_POINT)),
}


def minimums(specification: str) -> tuple[Decimal, Decimal]:
    """Dry and wet minimum of the boiling point, °C, of the grade that a specification names, such as `DOT 4`.

    Of an unknown grade nothing is known but that it boils no lower than the lowest of them.
    """
    grade = re.search(r"\bDOT[ -]?(5\.1|[345])(?![\d.])", specification, re.IGNORECASE)
    return BRAKE_GRADES[grade[1] if grade else "3"]


def read_figure(name: str, text: str) -> Decimal:
    """A sample's figure as typed: temperatures with their unit, in °C; water in percent. ValueError with a sentence."""
    return _percent(text) if name == WATER else _TEMPERATURES[name](_temperature(text), text)


def typed_temperature(text: str) -> tuple[Decimal, str]:
    """A temperature as typed, with its sign and its unit; ValueError for anything else."""
    typed = text.strip()
    below = typed[:1] in ("-", "−", "–")
    example = "write it in °F or °C, such as −34 °F or −37 °C."
    if not re.search(r"[^\W\d_]|[℃℉]", typed):
        raise ValueError(f"“{typed}” has no unit: {example}")
    number, unit = parse_quantity(typed[1:] if below else typed)
    if DIMENSION[unit] != "temperature":
        raise ValueError(f"“{typed}” is not a temperature: {example}")
    return (-number if below else number), unit


def temperature(celsius: Decimal, typed: str = "") -> str:
    """A sample's temperature as it is shown, first in the unit that was typed: `−34 °F · −37 °C`."""
    value, unit = typed_temperature(typed) if typed else (celsius, "degC")
    return minus(both(value, unit))


def _temperature(text: str) -> Decimal:
    number, unit = typed_temperature(text)
    return round_half_up(convert(number, unit, "degC"), 9)


def _freezes(value: Decimal, text: str) -> Decimal:
    if value > 0:
        raise ValueError(f"Coolant freezes below 32 °F (0 °C): write “{text.strip()}” with its minus, such as −34 °F.")
    return value


def _boils(value: Decimal, text: str) -> Decimal:
    if not 100 <= value <= 400:
        raise ValueError(f"Brake fluid boils between 212 °F (100 °C) and 752 °F (400 °C), not at {text.strip()}.")
    return value


_TEMPERATURES = {FREEZE_POINT: _freezes, BOILING_POINT: _boils}


def _percent(text: str) -> Decimal:
    typed = text.strip().removesuffix("%").strip()
    found = re.fullmatch(r"(\d{1,3})(?:[.,](\d{1,3}))?", typed)
    value = Decimal(f"{found[1]}.{found[2] or 0}") if found else None
    if value is None or value > 100:
        raise ValueError(f"Water is a percentage from 0 to 100, such as 2.5, not “{text.strip()}”.")
    return value
