"""How long money has been owed."""

import json
import pathlib
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal as D
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from invoicing.aging import Receivable, age

REFERENCE = json.loads((pathlib.Path(__file__).parents[1] / "reference" / "receivables-aging.json").read_text())
TODAY = date(2026, 3, 31)

# What a caller may hand over by mistake: Any, so that the type checker lets it through to the check.
FLOAT: Any = 30.0
TRUE: Any = True
TEXT: Any = "2026-03-01"


def days_past_due(days: int, balance: D) -> Receivable:
    return Receivable(TODAY - timedelta(days=days), balance)


@pytest.mark.parametrize("row", REFERENCE["schedules"], ids=lambda row: row["id"])
def test_a_textbook_schedule_adds_up_group_by_group(row):
    # Source: each row names its own. One customer owes at the first and one at the last day of each group.
    edges = {3: (30, 90), 4: (30, 60, 90)}[len(row["balances"])]
    firsts, lasts = [1, *(edge + 1 for edge in edges)], [*edges, 4000]
    receivables = []
    for first, last, balance in zip(firsts, lasts, row["balances"], strict=True):
        receivables += [days_past_due(first, D(balance) - 1), days_past_due(last, D(1))]
    groups = age(receivables, TODAY, edges)
    assert groups == [0, *row["balances"]]
    assert sum(groups) == row["total_receivables"]


def test_a_schedule_by_customer_gives_the_printed_totals():
    # Source: named in the file under "larkin".
    larkin = REFERENCE["larkin"]
    receivables = [
        days_past_due(days, D(balance))
        for balances in larkin["customers"].values()
        for days, balance in zip((30, 60, 90, 91), balances, strict=True)
    ]
    groups = age(receivables, TODAY)
    assert groups == [0, *larkin["published_bucket_totals"]]
    assert sum(groups) == larkin["published_total"]


def test_net_thirty_from_mid_december_is_not_due_at_the_year_end_and_from_november_one_day_over():
    # Source: the case at the boundary in the file under "larkin": "not overdue", "one day overdue".
    december, november = (invoice["amount"] for invoice in REFERENCE["larkin"]["boundary_case"]["invoices"])
    thirty = timedelta(days=30)
    receivables = [
        Receivable(date(2025, 12, 15) + thirty, D(december)),
        Receivable(date(2025, 11, 30) + thirty, D(november)),
    ]
    assert age(receivables, date(2025, 12, 31)) == [december, november, 0, 0, 0]


@pytest.mark.parametrize(
    ("days", "group"),
    [(-400, 0), (-1, 0), (0, 0), (1, 1), (30, 1), (31, 2), (60, 2), (61, 3), (90, 3), (91, 4), (5000, 4)],
)
def test_due_today_is_not_due_and_an_edge_belongs_to_the_group_it_ends(days, group):
    groups = age([days_past_due(days, D("12.34"))], TODAY)
    assert groups == [D("12.34") if number == group else 0 for number in range(5)]


def test_a_credit_lowers_its_group_and_may_take_it_below_zero():
    assert age([days_past_due(5, D(100)), days_past_due(6, D(-140))], TODAY) == [0, D(-40), 0, 0, 0]


def test_nothing_owed_is_a_row_of_zeros_and_the_edges_set_its_length():
    assert age([], TODAY) == [0] * 5
    assert age([], TODAY, (7,)) == [0] * 3
    assert age([days_past_due(1, D(5)), days_past_due(0, D(6))], TODAY, ()) == [6, 5]


@given(
    owed=st.lists(st.tuples(st.integers(-500, 500), st.decimals(-9999, 9999, places=2))),
    edges=st.lists(st.integers(1, 400), unique=True, max_size=6).map(sorted),
)
def test_the_groups_add_up_to_the_balances(owed, edges):
    groups = age([days_past_due(days, balance) for days, balance in owed], TODAY, edges)
    assert len(groups) == len(edges) + 2
    assert sum(groups) == sum(balance for _, balance in owed)


@pytest.mark.parametrize(
    ("receivable", "as_of", "edges", "sentence"),
    [
        (Receivable(TODAY, D("NaN")), TODAY, (30,), "Balance of receivable 1 must be a finite number"),
        (Receivable(TODAY, FLOAT), TODAY, (30,), "Balance of receivable 1 must be an exact decimal number"),
        (Receivable(datetime(2026, 3, 1, tzinfo=UTC), D(1)), TODAY, (30,), "Due date of receivable 1 must be a date"),
        (Receivable(TEXT, D(1)), TODAY, (30,), "Due date of receivable 1 must be a date"),
        (Receivable(TODAY, D(1)), datetime(2026, 3, 1, tzinfo=UTC), (30,), "As-of date must be a date"),
        (Receivable(TODAY, D(1)), TODAY, (60, 30), "Edges must rise"),
        (Receivable(TODAY, D(1)), TODAY, (30, 30), "Edges must rise"),
        (Receivable(TODAY, D(1)), TODAY, (0, 30), "Edge must be from 1"),
        (Receivable(TODAY, D(1)), TODAY, (FLOAT,), "Edge must be a whole number"),
        (Receivable(TODAY, D(1)), TODAY, (TRUE,), "Edge must be a whole number"),
    ],
)
def test_what_cannot_be_aged_is_refused_by_name(receivable, as_of, edges, sentence):
    with pytest.raises(ValueError, match=sentence):
        age([receivable], as_of, edges)
