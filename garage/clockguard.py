"""When the date of a paper is to be asked about before it gets a number.

A clock is believed until something speaks against it: a paper bears a later day already, the machine's own running
time says that the clock leapt, or the book has been silent for more than a month. Pure: no Django here.
"""

import datetime as dt
import time
from collections.abc import Iterator
from dataclasses import dataclass

BACK, LEAP, SILENCE = "back", "leap", "silence"
MOST_AHEAD = dt.timedelta(hours=1)
MOST_SILENT = dt.timedelta(days=30)


@dataclass(frozen=True)
class Doubt:
    """Why a day may be wrong: `other` is the later day of a paper, or the day of the last entry."""

    kind: str
    today: dt.date
    other: dt.date
    ahead: dt.timedelta = dt.timedelta(0)


def doubts(
    *, today: dt.date, last_paper: dt.date | None, last_entry: dt.date | None, ahead: dt.timedelta
) -> Iterator[Doubt]:
    """Everything that speaks against a day; `ahead` is by how much the clock leapt past the machine's running time."""
    if last_paper is not None and today < last_paper:
        yield Doubt(BACK, today, last_paper)
    if ahead > MOST_AHEAD:
        yield Doubt(LEAP, today, today, ahead)
    if last_entry is not None and today - last_entry > MOST_SILENT:
        yield Doubt(SILENCE, today, last_entry)


def running_for() -> float:
    """Seconds the machine has been running, sleep included where it tells (Linux): a laptop's night is no leap."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.clock_gettime(boot) if boot is not None else time.monotonic()


def started_at(moment: float) -> float:
    """When the machine was started by a clock that shows `moment`, in seconds: it stays while the clock runs true."""
    return moment - running_for()


#: As this process saw it when it began. Read at import on purpose: it is what a later leap is measured from.
BEGAN = time.time()
STARTED = started_at(BEGAN)
