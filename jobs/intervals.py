"""When a service is due next, by distance and by time."""

from calendar import monthrange
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal, localcontext
from fractions import Fraction
from math import floor
from typing import Literal

from garage.driving import rate
from garage.numbers import WORKING, answer, not_negative, positive, whole

Reading = tuple[date, Decimal]

_LONGEST_MONTHS = 1200


@dataclass(frozen=True)
class Due:
    """The next due date and odometer of a service.

    `on` is None where only a distance is given and nothing tells how fast the vehicle covers it;
    `odometer` is None where no distance is given. `because` names the limit that comes first, or the
    distance where it has been passed before its day.
    """

    on: date | None
    odometer: Decimal | None
    because: Literal["distance", "time"]
    overdue: bool


def daily_distance(readings: list[Reading]) -> float:
    """Return the distance a vehicle covers in a day, in the unit of the readings.

    The median of the slopes between all pairs of readings of different days (Theil 1950, Sen 1968): one wrong
    entry does not move it much. Raises ValueError for fewer than two dates or an odometer below zero.
    """
    daily = rate(_checked(readings))
    if daily is None:
        raise ValueError("Readings must be of at least two different dates.")
    return float(daily)


def next_due(
    last: date,
    last_odometer: Decimal,
    every_distance: Decimal | None,
    every_months: int | None,
    readings: list[Reading],
    today: date,
) -> Due:
    """Return when a service last done on `last` at `last_odometer` is due again, whichever limit comes first.

    Distances are in the unit of the readings. The day by distance is `last` plus the days that the interval
    takes at the daily distance of the readings, rounded half-up. The day by time is the same day of the
    month, or the last one of a shorter month. A tie says "time". It is overdue when today is past the due day
    or the latest reading is past the due odometer. Raises ValueError without any interval.
    """
    done, now = _day(last, "Last"), _day(today, "Today")
    started = not_negative(last_odometer, "Last odometer")
    history = _checked(readings)
    if every_distance is None and every_months is None:
        raise ValueError("Every distance or every months must be given.")
    by_distance, odometer, passed = None, None, False
    if every_distance is not None:
        distance = positive(every_distance, "Every distance")
        by_distance = _day_of_distance(done, distance, rate(history))
        with localcontext(WORKING):
            odometer = answer(started + distance)
        passed = bool(history) and max(history)[1] > odometer
    by_time = None if every_months is None else months_later(done, every_months)
    on = min((day for day in (by_distance, by_time) if day is not None), default=None)
    late = on is not None and now > on
    by_the_clock = by_time is not None and on == by_time and (late or not passed)
    return Due(on, odometer, "time" if by_the_clock else "distance", late or passed)


def _day_of_distance(start: date, distance: Decimal, daily: Fraction | None) -> date | None:
    """The day the distance is covered; None at an unknown rate, a standstill, or beyond the calendar."""
    if daily is None or daily <= 0:
        return None
    days = floor(Fraction(distance) / daily + Fraction(1, 2))
    return start + timedelta(days) if days <= (date.max - start).days else None


def months_later(start: date, months: int) -> date:
    """The same day of the month so many months later, or the last one of a shorter month."""
    index = start.month - 1 + whole(months, "Every months", least=1, most=_LONGEST_MONTHS)
    year, month = start.year + index // 12, index % 12 + 1
    if year > date.max.year:
        raise ValueError(f"Every months leads past the year {date.max.year}.")
    return date(year, month, min(start.day, monthrange(year, month)[1]))


def _checked(readings: Sequence[Reading]) -> list[Reading]:
    return [(_day(day, "Reading date"), not_negative(odometer, "Reading")) for day, odometer in readings]


def _day(value: object, name: str) -> date:
    if not isinstance(value, date) or isinstance(value, datetime):
        raise ValueError(f"{name} must be a date, not {type(value).__name__}.")
    return value
