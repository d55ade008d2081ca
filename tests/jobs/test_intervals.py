"""When a service is due next: the daily distance of a vehicle, and whichever limit comes first."""

import json
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import theilslopes

from jobs.intervals import Due, daily_distance, next_due

REFERENCE = json.loads((Path(__file__).parents[1] / "reference" / "theil-sen.json").read_text(encoding="utf-8"))
D = Decimal
START = date(2024, 1, 1)
Readings = list[tuple[date, Decimal]]
ENTRIES = st.lists(st.tuples(st.integers(0, 3000), st.integers(0, 300_000)), min_size=2, max_size=14)


def readings(days: list[float], odometers: list[float]) -> Readings:
    return [(START + timedelta(int(day)), D(str(odometer))) for day, odometer in zip(days, odometers, strict=True)]


def steady(per_day: int, days: int, start: date = START, odometer: int = 50_000) -> Readings:
    return [(start + timedelta(day), D(odometer + per_day * day)) for day in range(0, days + 1, 10)]


# The daily distance


@pytest.mark.parametrize("row", REFERENCE["theil_sen"], ids=lambda row: row["id"])
def test_published_median_slopes(row: dict[str, Any]) -> None:
    """Sen 1968 and the same with outliers; half days are doubled, and the slope with them halved."""
    doubled = [2 * x for x in row["x"]]
    assert daily_distance(readings(doubled, row["y"])) * 2 == pytest.approx(row["slope"], rel=1e-12)


def test_a_history_of_three_years() -> None:
    row = REFERENCE["odometer"]
    assert daily_distance(readings(row["days"], row["km"])) == pytest.approx(row["km_per_day"], rel=1e-12)


@given(ENTRIES)
def test_it_agrees_with_another_library(entries: list[tuple[int, int]]) -> None:
    days, odometers = zip(*entries, strict=True)
    assume(len(set(days)) > 1)
    reference = theilslopes(odometers, days)
    rate = daily_distance(readings(list(days), list(odometers)))
    assert rate == pytest.approx(float(reference.slope), rel=1e-9, abs=1e-9)


@given(st.integers(1, 200), st.integers(5, 30), st.integers(0, 30), st.integers(0, 999_999))
def test_one_wrong_entry_does_not_move_a_steady_vehicle(per_day: int, count: int, place: int, wrong: int) -> None:
    history = [(START + timedelta(7 * week), D(1000 + 7 * week * per_day)) for week in range(count)]
    position = place % count
    history[position] = (history[position][0], D(wrong))
    assert daily_distance(history) == per_day


@given(ENTRIES, st.randoms())
def test_the_order_of_the_readings_does_not_matter(entries: list[tuple[int, int]], random: Any) -> None:
    assume(len({day for day, _ in entries}) > 1)
    history = [(START + timedelta(day), D(odometer)) for day, odometer in entries]
    shuffled = list(history)
    random.shuffle(shuffled)
    assert daily_distance(shuffled) == daily_distance(history)


@pytest.mark.parametrize("history", [[], [(START, D(1))], [(START, D(1)), (START, D(900))]])
def test_one_date_tells_no_rate(history: Readings) -> None:
    with pytest.raises(ValueError, match=r"^Readings must be of at least two different dates"):
        daily_distance(history)


@pytest.mark.parametrize(
    ("entry", "sentence"),
    [
        ((START, D("NaN")), "Reading must be a finite number"),
        ((START, D(-1)), "Reading must not be below zero"),
        ((START, 84210.7), "Reading must be an exact decimal number"),
        (("2024-01-01", D(1)), "Reading date must be a date, not str"),
        ((datetime(2024, 1, 1, tzinfo=UTC), D(1)), "Reading date must be a date, not datetime"),
    ],
)
def test_readings_that_cannot_be(entry: Any, sentence: str) -> None:
    history = [*steady(30, 100), entry]
    with pytest.raises(ValueError, match=f"^{sentence}"):
        daily_distance(history)
    with pytest.raises(ValueError, match=f"^{sentence}"):
        next_due(START, D(50_000), None, 12, history, START)


# The next due date


def test_the_distance_comes_first_for_a_vehicle_that_drives_much() -> None:
    due = next_due(START, D(50_000), D(30_000), 24, steady(60, 100), date(2024, 4, 10))
    assert due == Due(START + timedelta(500), D(80_000), "distance", False)


def test_the_time_comes_first_for_a_vehicle_that_stands() -> None:
    due = next_due(START, D(50_000), D(30_000), 24, steady(10, 100), date(2024, 4, 10))
    assert due == Due(date(2026, 1, 1), D(80_000), "time", False)


def test_30000_miles_with_11000_driven_leave_19000() -> None:
    """Common practice, no source."""
    history = [(START, D(50_000)), (START + timedelta(110), D(61_000))]
    due = next_due(START, D(50_000), D(30_000), None, history, START + timedelta(110))
    assert due.odometer is not None
    assert due.odometer - history[-1][1] == 19_000
    assert due.on == START + timedelta(300)


def test_a_tie_says_time() -> None:
    due = next_due(START, D(0), D(3660), 12, steady(10, 100, odometer=0), START)
    assert (due.on, due.because) == (date(2025, 1, 1), "time")


@pytest.mark.parametrize(
    ("last", "months", "on"),
    [
        (date(2023, 1, 31), 1, date(2023, 2, 28)),
        (date(2024, 1, 31), 1, date(2024, 2, 29)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2024, 8, 31), 6, date(2025, 2, 28)),
        (date(2024, 12, 15), 1, date(2025, 1, 15)),
        (date(2025, 6, 1), 3, date(2025, 9, 1)),
    ],
)
def test_month_ends_clamp(last: date, months: int, on: date) -> None:
    due = next_due(last, D(1), None, months, [], last)
    assert due == Due(on, None, "time", False)


@pytest.mark.parametrize(("distance", "days"), [(10, 3), (9, 2), (11, 3), (1, 0), (2, 1)])
def test_half_a_day_counts_as_one(distance: int, days: int) -> None:
    due = next_due(START, D(0), D(distance), None, steady(4, 40), START)
    assert due.on == START + timedelta(days)


@pytest.mark.parametrize("history", [[], [(START, D(50_000))], [(START, D(50_000)), (START, D(50_010))]])
def test_a_distance_alone_without_a_rate_has_no_date(history: Readings) -> None:
    assert next_due(START, D(50_000), D(5000), None, history, START) == Due(None, D(55_000), "distance", False)
    assert next_due(START, D(50_000), D(5000), 6, history, START) == Due(date(2024, 7, 1), D(55_000), "time", False)


def test_a_standing_vehicle_never_gets_there_by_distance() -> None:
    standing = steady(0, 100)
    assert next_due(START, D(50_000), D(5000), None, standing, START).on is None
    crawling = [(START, D(0)), (START + timedelta(3000), D("0.1"))]
    assert next_due(START, D(0), D(5000), None, crawling, START).on is None


def test_it_is_overdue_the_day_after() -> None:
    assert not next_due(START, D(0), None, 12, [], date(2025, 1, 1)).overdue
    assert next_due(START, D(0), None, 12, [], date(2025, 1, 2)).overdue


def test_it_is_overdue_once_the_latest_reading_is_past_the_odometer() -> None:
    at = [(START + timedelta(30), D(55_000))]
    past = [(START + timedelta(30), D("55000.1"))]
    assert not next_due(START, D(50_000), D(5000), None, at, START).overdue
    assert next_due(START, D(50_000), D(5000), None, past, START) == Due(None, D(55_000), "distance", True)
    # The newest reading counts, wherever it stands in the list.
    corrected = [(START + timedelta(40), D(53_000)), (START + timedelta(30), D(59_000))]
    assert not next_due(START, D(50_000), D(5000), None, corrected, START + timedelta(1)).overdue


def test_a_distance_passed_before_its_day_is_the_reason() -> None:
    past = [(START + timedelta(30), D(56_000))]
    due = next_due(START, D(50_000), D(5000), 12, past, START + timedelta(31))
    assert due == Due(date(2025, 1, 1), D(55_000), "distance", True)


@given(st.integers(1, 60), st.integers(1, 120), st.integers(1, 60_000), st.integers(0, 4000))
def test_both_limits_are_never_later_than_either(months: int, per_day: int, distance: int, later: int) -> None:
    history, today = steady(per_day, 60), START + timedelta(later)
    each = [
        next_due(START, D(50_000), D(distance), None, history, today).on,
        next_due(START, D(50_000), None, months, history, today).on,
    ]
    due = next_due(START, D(50_000), D(distance), months, history, today)
    assert due.on is not None
    assert due.on == min(day for day in each if day is not None)
    assert due.overdue is (today > due.on or history[-1][1] > D(50_000 + distance))


BAD: list[tuple[dict[str, Any], str]] = [
    ({"every_distance": None, "every_months": None}, "Every distance or every months must be given"),
    ({"every_distance": D(0)}, "Every distance must be greater than zero"),
    ({"every_distance": D("Infinity")}, "Every distance must be a finite number"),
    ({"every_distance": 5000.0}, "Every distance must be an exact decimal number"),
    ({"every_months": 0}, "Every months must be from 1 to 1200"),
    ({"every_months": 1201}, "Every months must be from 1 to 1200"),
    ({"every_months": 6.0}, "Every months must be a whole number"),
    ({"every_months": True}, "Every months must be a whole number"),
    ({"last": date(9999, 12, 1)}, "Every months leads past the year 9999"),
    ({"last": None}, "Last must be a date"),
    ({"today": datetime(2024, 1, 1, tzinfo=UTC)}, "Today must be a date, not datetime"),
    ({"last_odometer": D(-1)}, "Last odometer must not be below zero"),
    ({"last_odometer": D("NaN")}, "Last odometer must be a finite number"),
]


@pytest.mark.parametrize(("change", "sentence"), BAD, ids=lambda value: str(value))
def test_intervals_that_make_no_sense(change: dict[str, Any], sentence: str) -> None:
    given_: dict[str, Any] = {
        "last": START,
        "last_odometer": D(50_000),
        "every_distance": D(5000),
        "every_months": 6,
        "readings": steady(30, 100),
        "today": START,
    }
    with pytest.raises(ValueError, match=f"^{sentence}"):
        next_due(**(given_ | change))
