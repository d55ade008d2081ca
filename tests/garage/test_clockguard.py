"""What speaks against the day a paper would bear: the pure rule, and the machine's own running time."""

import datetime as dt
import time

import pytest

from garage import clockguard
from garage.clockguard import BACK, LEAP, SILENCE

TODAY = dt.date(2026, 3, 2)
NOTHING = dt.timedelta(0)


@pytest.mark.parametrize(
    ("last", "entry", "ahead", "kinds"),
    [
        (None, None, NOTHING, []),  # an empty book has nothing to compare with
        (TODAY, TODAY, NOTHING, []),
        (dt.date(2026, 3, 3), TODAY, NOTHING, [BACK]),
        (TODAY, TODAY, dt.timedelta(hours=1), []),  # an hour, as at the end of summer time, is not asked about
        (TODAY, TODAY, dt.timedelta(hours=1, seconds=1), [LEAP]),
        (TODAY, TODAY, dt.timedelta(hours=-9), []),  # set back: the papers tell
        (None, TODAY - dt.timedelta(days=30), NOTHING, []),
        (None, TODAY - dt.timedelta(days=31), NOTHING, [SILENCE]),
        (dt.date(2027, 1, 1), dt.date(2025, 1, 1), dt.timedelta(days=2), [BACK, LEAP, SILENCE]),
    ],
)
def test_what_speaks_against_a_day(
    last: dt.date | None, entry: dt.date | None, ahead: dt.timedelta, kinds: list[str]
) -> None:
    found = clockguard.doubts(today=TODAY, last_paper=last, last_entry=entry, ahead=ahead)
    assert [doubt.kind for doubt in found] == kinds


def test_the_machines_start_stays_while_its_clock_runs_true() -> None:
    first = clockguard.started_at(time.time())
    time.sleep(0.05)
    assert abs(clockguard.started_at(time.time()) - first) < 0.04
    assert clockguard.started_at(time.time() + 7200) - first == pytest.approx(7200, abs=0.1)
