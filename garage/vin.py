"""Reading a vehicle identification number.

Rules: 49 CFR 565.13 (17 characters, no I, O, Q), 565.15(c) (check digit, position 9), 565.15(d) (model
year, position 10, and position 7 for the thirty-year cycle of light vehicles); ISO 3779 and 3780 for the
rest of the world, where neither a check digit nor a model year is required.
"""

import re
from dataclasses import dataclass
from typing import Final

LENGTH: Final = 17
_CHECK, _YEAR, _CYCLE = 8, 9, 6  # positions 9, 10 and 7, counted from zero

_VALUES: Final = dict(
    zip("0123456789ABCDEFGHJKLMNPRSTUVWXYZ", map(int, "012345678912345678123457923456789"), strict=True)
)
_WEIGHTS: Final = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
_FIRST_YEAR: Final = dict(zip("ABCDEFGHJKLMNPRSTVWXY123456789", range(1980, 2010), strict=True))
_YEARS_IN_CYCLE: Final = 30

# First characters by ISO 3780. 7F to 70 belong to the United States as well, since about 2020 (from memory).
_REGIONS: Final = (
    ("[A-H]", "Africa"),
    ("[J-R]", "Asia"),
    ("[S-Z]", "Europe"),
    ("[1-5]|7[F-Z0-9]", "North America"),
    ("[67]", "Oceania"),
    ("[89]", "South America"),
)
_DROPPED: Final = re.compile(r"[\s‐-―−-]+")


@dataclass(frozen=True)
class Vin:
    """What a typed VIN says.

    `vin` is the number as it is kept; `ok` is False where it cannot be a VIN at all; `problems` are sentences
    for the person who typed it, a warning where `ok` is True; `model_years` are the years it can stand for,
    none where position 10 carries no year; `region` is empty where the first character names none.
    """

    vin: str
    ok: bool
    problems: tuple[str, ...]
    model_years: tuple[int, ...]
    region: str


def read_vin(text: str, heavy: bool = False) -> Vin:
    """Read a VIN as typed: spaces and dashes dropped, upper-cased.

    A wrong length or character is an error. A failed check digit is a warning, and only where North America
    requires the digit. Both candidate years are given where position 7 does not decide between them: for a
    `heavy` vehicle (above 10,000 lb) or a trailer, and outside North America. Raises ValueError for no text.
    """
    if not isinstance(text, str):
        raise ValueError(f"VIN must be text, not {type(text).__name__}.")
    # Only ASCII letters are raised: some others would turn into letters of a VIN ("ß" into "SS").
    vin = re.sub("[a-z]", lambda letter: letter[0].upper(), _DROPPED.sub("", text))
    region = _region(vin)
    errors = _errors(vin)
    if errors:
        return Vin(vin, False, errors, (), region)
    american = region == "North America"
    warnings = _warnings(vin) if american else ()
    return Vin(vin, True, warnings, _model_years(vin, decided=american and not heavy), region)


def _region(vin: str) -> str:
    return next((name for start, name in _REGIONS if re.match(start, vin)), "")


def _errors(vin: str) -> tuple[str, ...]:
    errors = []
    if len(vin) != LENGTH:
        errors.append(f"VIN must have {LENGTH} characters, not {len(vin)}.")
    wrong = sorted(set(vin) - _VALUES.keys())
    if wrong:
        errors.append(f"VIN must not contain {', '.join(wrong)}: only digits and letters without I, O and Q.")
    return tuple(errors)


def _warnings(vin: str) -> tuple[str, ...]:
    found, expected = vin[_CHECK], check_digit(vin)
    if found == expected:
        return ()
    return (f"VIN check digit (position 9) is {found}, but should be {expected}: compare it with the car.",)


def check_digit(vin: str) -> str:
    """Return the digit that 49 CFR 565.15(c) expects at position 9 of a well-formed VIN."""
    remainder = sum(_VALUES[character] * weight for character, weight in zip(vin, _WEIGHTS, strict=True)) % 11
    return "X" if remainder == 10 else str(remainder)


def _model_years(vin: str, *, decided: bool) -> tuple[int, ...]:
    first = _FIRST_YEAR.get(vin[_YEAR])
    if first is None:
        return ()
    if not decided:
        return first, first + _YEARS_IN_CYCLE
    return (first,) if vin[_CYCLE].isdigit() else (first + _YEARS_IN_CYCLE,)
