"""What an issue costs, first in first out and at the moving average."""

import json
import pathlib
from decimal import Decimal as D
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from garage.money import round_money
from parts.costing import Costing, Move, fifo, moving_average

REFERENCE = pathlib.Path(__file__).parents[1] / "reference" / "inventory-cost-flow.json"
ROWS = json.loads(REFERENCE.read_text())["rows"]
METHODS = {"FIFO": fifo, "AVG": moving_average}
# What a caller may hand over by mistake: Any, so that the type checker lets it through to the check.
FLOAT: Any = 2.5
TRUE: Any = True
WHOLE: Any = 2
BOTH = pytest.mark.parametrize("method", [fifo, moving_average])


def read_moves(events: list[tuple[str, str, str | None]]) -> list[Move]:
    return [
        Move(-D(quantity), None) if kind == "sell" else Move(D(quantity), D(cost or ""))
        for kind, quantity, cost in events
    ]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['id']} {row['method']}")
def test_a_textbook_shelf_costs_what_the_book_says(row):
    # Source: each row names its own; an open accounting textbook, perpetual system.
    costing = METHODS[row["method"]](read_moves(row["events"]))
    assert [str(round_money(cost)) for cost in costing.issue_costs] == row["issue_costs"]
    assert str(round_money(sum(costing.issue_costs, D(0)))) == row["cogs"]
    assert costing.quantity == D(row["ending_units"])
    assert str(round_money(costing.value)) == row["ending_value"]


@BOTH
def test_seven_tenths_of_a_liter_at_40_cost_28_and_leave_three_tenths(method):
    # Common practice, no source: a bottle is bought whole and used by the fraction.
    assert method([Move(D(1), D("40.00")), Move(D("-0.7"), None)]) == Costing([D(28)], D("0.3"), D(12))


@BOTH
def test_four_changes_of_seven_tenths_use_two_liters_and_eight_tenths(method):
    # Common practice, no source.
    moves = [Move(D(1), D("40.00"))] * 3 + [Move(D("-0.7"), None)] * 4
    assert method(moves) == Costing([D(28)] * 4, D("0.2"), D(8))


def test_a_change_that_finishes_one_bottle_and_opens_the_next_costs_some_of_each():
    costing = fifo([Move(D(1), D(36)), Move(D(1), D(40)), Move(D("-0.85"), None), Move(D("-0.85"), None)])
    assert costing == Costing([D("30.60"), D("5.40") + D("28.00")], D("0.30"), D("12.00"))


def test_the_moving_average_is_taken_anew_after_each_receipt():
    costing = moving_average([Move(D(1), D(10)), Move(D(2), D(11)), Move(D(-1), None), Move(D(1), D(12))])
    assert costing.issue_costs == [D(32) / D(3)]
    assert costing.value == D(32) - D(32) / D(3) + D(12)


@BOTH
def test_a_shelf_emptied_to_the_last_drop_is_worth_exactly_nothing(method):
    thirds = [Move(D(3), D(10) / D(3)), *[Move(D(-1), None)] * 3]
    costing = method(thirds)
    assert costing.quantity == 0
    assert costing.value == 0


@BOTH
def test_an_empty_shelf_without_a_move_is_worth_nothing(method):
    assert method([]) == Costing([], D(0), D(0))


@BOTH
def test_goods_got_free_cost_nothing_and_whole_numbers_are_welcome(method):
    assert method([Move(WHOLE, D(0)), Move(-WHOLE, None)]) == Costing([D(0)], D(0), D(0))


@BOTH
@pytest.mark.parametrize(
    ("moves", "sentence"),
    [
        ([Move(D(1), None)], "Unit cost of move 1 is missing"),
        ([Move(D(1), D(2)), Move(D(0), D(2))], "Quantity of move 2 must not be zero"),
        ([Move(D(1), D(2)), Move(D("-1.000000001"), None)], "Quantity of move 2 is more than is on hand"),
        ([Move(D(-1), None), Move(D(1), D(2))], "Quantity of move 1 is more than is on hand"),
        ([Move(D(1), D(-2))], "Unit cost of move 1 must not be below zero"),
        ([Move(D("NaN"), D(2))], "Quantity of move 1 must be a finite number"),
        ([Move(D(1), D("Infinity"))], "Unit cost of move 1 must be a finite number"),
        ([Move(D("1E+18"), D(2))], "Quantity of move 1 is too large"),
        ([Move(FLOAT, D(2))], "Quantity of move 1 must be an exact decimal number"),
        ([Move(TRUE, D(2))], "Quantity of move 1 must be an exact decimal number"),
        ([Move(D(1), FLOAT)], "Unit cost of move 1 must be an exact decimal number"),
    ],
)
def test_a_move_that_cannot_be_costed_is_refused_by_name(method, moves, sentence):
    with pytest.raises(ValueError, match=sentence):
        method(moves)


quantities = st.decimals("0.000000001", "500", places=9)
unit_costs = st.decimals(0, 900, places=6)


@st.composite
def shelves(draw) -> list[Move]:
    """Receipts and issues in any order, never more issued than is there."""
    moves, on_hand = [], D(0)
    for _ in range(draw(st.integers(1, 12))):
        if on_hand > 0 and draw(st.booleans()):
            share = draw(st.sampled_from([D("0.1"), D("0.33"), D("0.7"), D(1)]))
            quantity = (on_hand * share).quantize(D("1E-9")) or on_hand
            moves.append(Move(-quantity, None))
        else:
            quantity = draw(quantities)
            moves.append(Move(quantity, draw(unit_costs)))
        on_hand += moves[-1].quantity
    return moves


@BOTH
@given(moves=shelves())
def test_what_went_out_and_what_is_left_are_what_came_in(method, moves):
    costing = method(moves)
    received = sum(Fraction(move.quantity) * Fraction(move.unit_cost or 0) for move in moves)
    assert sum(map(Fraction, costing.issue_costs)) + Fraction(costing.value) == received
    assert costing.quantity == sum(move.quantity for move in moves)
    assert len(costing.issue_costs) == sum(move.quantity < 0 for move in moves)
    assert min([*costing.issue_costs, costing.value]) >= 0


@given(moves=shelves())
def test_first_in_first_out_agrees_with_drops_counted_one_by_one(moves):
    """Unit costs laid end to end: an issue's cost is the area under its stretch of the line."""
    line: list[tuple[Fraction, Fraction, Fraction]] = []
    end = start = Fraction(0)
    expected = []
    for move in moves:
        if move.quantity > 0:
            line.append((end, end + Fraction(move.quantity), Fraction(move.unit_cost or 0)))
            end += Fraction(move.quantity)
        else:
            stop = start - Fraction(move.quantity)
            expected.append(sum(max(Fraction(0), min(b, stop) - max(a, start)) * cost for a, b, cost in line))
            start = stop
    assert [Fraction(cost) for cost in fifo(moves).issue_costs] == expected
