"""One change is often not enough: the share of fresh fluid after repeated drain-and-fill."""

import csv
from decimal import Decimal, localcontext
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.exchange import changes_needed, fresh_share

REFERENCE = Path(__file__).parents[1] / "reference"
D = Decimal
LITERS = st.decimals(min_value=D("0.1"), max_value=20, places=2)
TARGETS = st.decimals(min_value=0, max_value=D("0.999"), places=3)


def rows(name: str) -> list[dict[str, str]]:
    with (REFERENCE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows("fluid-exchange.csv"), ids=lambda row: f"{row['id']}-{row['times']}")
def test_published_capacities_and_extractions(row: dict[str, str]) -> None:
    share = fresh_share(D(row["capacity"]), D(row["drained"]), int(row["times"]))
    assert abs(share * 100 - D(row["fresh_percent"])) <= D("0.005")


@pytest.mark.parametrize("row", rows("fluid-exchange-changes.csv"), ids=lambda row: f"{row['id']}-{row['target']}")
def test_changes_for_a_wanted_share(row: dict[str, str]) -> None:
    changes = changes_needed(D(row["capacity"]), D(row["drained"]), D(row["target"]))
    assert changes == int(row["changes"])


def test_the_ends_of_the_scale() -> None:
    assert fresh_share(D("7.2"), D("3.1"), 0) == 0
    assert fresh_share(D(2), D(2), 0) == 0
    assert fresh_share(D(2), D(2), 1) == 1
    assert changes_needed(D("7.2"), D("3.1"), D(0)) == 0
    assert changes_needed(D(2), D(2), D(1)) == 1
    assert changes_needed(D(2), D(2), D("0.3")) == 1
    assert changes_needed(D(2), D(2), D(0)) == 0


def test_a_target_met_exactly_is_met() -> None:
    assert changes_needed(D(8), D(4), D("0.75")) == 2
    assert changes_needed(D(8), D(4), D("0.7500000001")) == 3
    assert changes_needed(D(10), D(1), D("0.1")) == 1
    assert changes_needed(D(10), D(1), D("0.271")) == 3  # 1 - 0.9^3


def test_very_small_drains_are_counted_without_waiting() -> None:
    changes = changes_needed(D(10**6), D("0.000001"), D("0.9"))
    assert changes == 2302585092993  # ln 10 times capacity/drained, less half a change, rounded up


@given(LITERS, LITERS, st.integers(0, 12))
def test_each_change_leaves_the_same_share_of_the_old(one: Decimal, other: Decimal, times: int) -> None:
    drained, capacity = sorted((one, other))
    old = (1 - Fraction(drained) / Fraction(capacity)) ** times
    assert abs(Fraction(fresh_share(capacity, drained, times)) - (1 - old)) <= Fraction(1, 10**27)


@given(LITERS, LITERS, TARGETS)
def test_the_changes_needed_are_just_enough(one: Decimal, other: Decimal, target: Decimal) -> None:
    drained, capacity = sorted((one, other))
    changes = changes_needed(capacity, drained, target)
    assert fresh_share(capacity, drained, changes) >= target
    assert changes == 0 or fresh_share(capacity, drained, changes - 1) < target


@given(LITERS, LITERS, st.integers(0, 30))
def test_one_more_change_never_makes_it_older(one: Decimal, other: Decimal, times: int) -> None:
    drained, capacity = sorted((one, other))
    assert 0 <= fresh_share(capacity, drained, times) <= fresh_share(capacity, drained, times + 1) <= 1


BAD_AMOUNTS: list[tuple[Any, Any, str]] = [
    (D(0), D(1), "Capacity must be greater than zero"),
    (D(-1), D(1), "Capacity must be greater than zero"),
    (D("NaN"), D(1), "Capacity must be a finite number"),
    (7.2, D(1), "Capacity must be an exact decimal number"),
    (D(7), D(0), "Drained must be greater than zero"),
    (D(7), D(-1), "Drained must be greater than zero"),
    (D(7), D("7.01"), "Drained must not be more than the capacity"),
    (D(7), D("Infinity"), "Drained must be a finite number"),
    (D(7), True, "Drained must be an exact decimal number"),
]


@pytest.mark.parametrize(("capacity", "drained", "sentence"), BAD_AMOUNTS)
def test_amounts_that_cannot_be(capacity: Any, drained: Any, sentence: str) -> None:
    with pytest.raises(ValueError, match=f"^{sentence}"):
        fresh_share(capacity, drained, 1)
    with pytest.raises(ValueError, match=f"^{sentence}"):
        changes_needed(capacity, drained, D(0))


@pytest.mark.parametrize("times", [-1, 1.0, D(1), True, None, 10**10])
def test_times_is_a_count(times: Any) -> None:
    with pytest.raises(ValueError, match=r"^Times must be"):
        fresh_share(D(7), D(3), times)


@pytest.mark.parametrize("target", [D(1), D("1.01"), D("-0.1"), D("NaN"), 0.9, True])
def test_a_target_out_of_reach(target: Any) -> None:
    with pytest.raises(ValueError, match=r"^Target must be"):
        changes_needed(D(7), D(3), target)


def test_the_callers_decimal_context_does_not_matter() -> None:
    with localcontext() as context:
        context.prec = 3
        assert abs(fresh_share(D("7.2"), D("3.1"), 2) * 100 - D("67.57")) < D("0.1")
        assert changes_needed(D(10), D(1), D("0.271")) == 3
    assert str(fresh_share(D(8), D(3), 2)) == "0.609375"
