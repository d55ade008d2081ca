"""How fast a car covers distance, and whether an odometer figure leaps ahead of it. Pure: no Django here."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from fractions import Fraction
from itertools import combinations
from statistics import median

#: What is assumed of a car whose readings do not tell yet, in miles a day: some 14,600 a year (common practice).
USUAL_MILES_A_DAY = 40
#: A figure is asked about beyond so many times the distance expected, and so many miles of grace: a long trip stays
#: within it, a doubled digit or a slipped one does not (common practice, no source).
TIMES, GRACE_MILES = 3, 2_000
#: The first figure of a car is asked about above this (common practice, no source).
MOST_MILES_AT_FIRST = 500_000
KILOMETERS = Fraction(1_609_344, 1_000_000)


def rate(readings: Sequence[tuple[date, Decimal]]) -> Fraction | None:
    """The distance a day, exactly: the median of the slopes between all pairs of days (Theil 1950, Sen 1968).

    None with fewer than two different dates.
    """
    slopes = [
        (Fraction(later[1]) - Fraction(earlier[1])) / (later[0] - earlier[0]).days
        for earlier, later in combinations(readings, 2)
        if later[0] != earlier[0]
    ]
    return median(slopes) if slopes else None


def leaps(reading: int, on: date, before: Sequence[tuple[date, Decimal]], unit: str) -> bool:
    """Whether a figure read on a day is far beyond what the earlier readings (oldest first, in `unit`) let expect."""
    scale = KILOMETERS if unit == "km" else Fraction(1)
    if not before:
        return reading > MOST_MILES_AT_FIRST * scale
    last_on, last = before[-1]
    daily = rate(before)
    if daily is None or daily <= 0:
        daily = USUAL_MILES_A_DAY * scale
    expected = daily * max((on - last_on).days, 1)
    return Fraction(reading) - Fraction(last) > TIMES * expected + GRACE_MILES * scale
