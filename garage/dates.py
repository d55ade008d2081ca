"""How days and times are written, in the locale that is active: the shop's own, or the one a paper was written in.

One long form (Nov 24, 2026 or 24 Nov 2026) and one short one, which leaves out what the reader knows today. The forms
themselves stand in `garage/locales`.
"""

import datetime as dt
from contextlib import AbstractContextManager

from django.utils import formats, translation


def speaking(locale: str) -> AbstractContextManager[None]:
    """Words, days and times as a locale (en-US, en-GB) has them, for as long as the block lasts."""
    return translation.override(locale.lower())


def day(value: dt.date) -> str:
    """A day in full: Nov 24, 2026."""
    return formats.date_format(value, "DATE_FORMAT")


def weekday(value: dt.date) -> str:
    """A day by its name, for a heading: Tuesday, November 24, or Tuesday, 24 November."""
    in_full = formats.get_format("MONTH_DAY_FORMAT").replace("M", "F")
    return f"{formats.date_format(value, 'l')}, {formats.date_format(value, in_full)}"


def month(value: dt.date) -> str:
    """A month: November 2026."""
    return formats.date_format(value, "YEAR_MONTH_FORMAT")


def time(value: dt.datetime) -> str:
    """A time of day: 5:00 PM."""
    return formats.time_format(value, "TIME_FORMAT")


def moment(value: dt.datetime) -> str:
    """A day and time in full: Nov 24, 2026, 5:00 PM."""
    return formats.date_format(value, "DATETIME_FORMAT")


def short(value: dt.datetime, now: dt.datetime) -> str:
    """A moment as short as it can be said on the day of `now`: 5:00 PM, Nov 24, 5:00 PM, or Nov 24, 2025."""
    local = value.astimezone(now.tzinfo)
    if local.date() == now.date():
        return time(local)
    return formats.date_format(local, "SHORT_DATETIME_FORMAT") if local.year == now.year else day(local)


def short_day(value: dt.datetime, now: dt.datetime) -> str:
    """The same without the time of another day: 5:00 PM, Nov 24, or Nov 24, 2025."""
    local = value.astimezone(now.tzinfo)
    if local.date() == now.date():
        return time(local)
    return formats.date_format(local, "MONTH_DAY_FORMAT") if local.year == now.year else day(local)
