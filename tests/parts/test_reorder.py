"""When to order again, and how much."""

import json
import math
import pathlib
from decimal import Decimal as D
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from parts.reorder import economic_order_quantity, reorder_point, safety_stock

REFERENCE = json.loads((pathlib.Path(__file__).parents[1] / "reference" / "reorder-eoq.json").read_text())

# What a caller may hand over by mistake: Any, so that the type checker lets it through to the check.
TEXT: Any = "1"


def by_id(row):
    return row["id"]


@pytest.mark.parametrize("row", REFERENCE["z_table"]["rows"], ids=lambda row: str(row["service_level"]))
def test_one_unit_of_chance_needs_the_printed_quantile(row):
    # Source: the normal table in reorder-eoq.json, partly seen in print.
    assert safety_stock(row["service_level"], 0, 1, 1) == pytest.approx(row["z"], abs=5e-5)


@given(level=st.floats(0.5, 0.999999), mean=st.floats(0, 100), lead_sd=st.floats(0, 30))
def test_the_quantile_agrees_with_another_library(level, mean, lead_sd):
    expected = norm.ppf(level) * math.sqrt(4 * 9 + mean**2 * lead_sd**2)  # scipy, a reference in tests only
    assert safety_stock(level, mean, 3, 4, lead_sd) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("row", REFERENCE["safety_stocks"], ids=by_id)
def test_a_worked_safety_stock_and_its_reorder_point(row):
    # Source: each row names its own.
    safety = safety_stock(row["service_level"], row["daily_mean"], row["daily_sd"], row["lead_mean"], row["lead_sd"])
    assert safety == pytest.approx(row["safety_stock"], rel=1e-9)
    point = reorder_point(row["daily_mean"], row["lead_mean"], safety)
    assert point == pytest.approx(row["reorder_point"], rel=1e-9)
    if row["printed_reorder_point"]:
        assert point == pytest.approx(row["printed_reorder_point"], rel=1e-9)


@pytest.mark.parametrize("row", REFERENCE["reorder_points"], ids=by_id)
def test_a_worked_reorder_point(row):
    # Source: each row names its own.
    point = reorder_point(row["daily_mean"], row["lead_days"], row["safety"])
    assert point == pytest.approx(row["reorder_point"], abs=row["tolerance"])


@pytest.mark.parametrize("row", REFERENCE["order_quantities"], ids=by_id)
def test_a_worked_order_quantity(row):
    # Source: each row names its own.
    quantity = economic_order_quantity(row["annual_demand"], row["order_cost"], row["holding_cost"])
    assert quantity == pytest.approx(row["quantity"], rel=1e-9)
    if row["printed"]:
        assert quantity == pytest.approx(row["printed"], abs=row["tolerance_of_print"])


@given(demand=st.floats(1, 1e6), order=st.floats(0.1, 1e4), holding=st.floats(0.01, 1e3))
def test_at_the_order_quantity_ordering_costs_as_much_as_holding(demand, order, holding):
    quantity = economic_order_quantity(demand, order, holding)
    assert demand / quantity * order == pytest.approx(quantity / 2 * holding, rel=1e-9)


def test_below_an_even_chance_no_safety_stock_is_kept():
    assert safety_stock(0.5, 10, 3, 5) == 0
    assert safety_stock(0.2, 10, 3, 5, 1) == 0


def test_without_demand_nothing_is_kept_and_nothing_ordered():
    assert safety_stock(0.95, 0, 0, 7) == 0
    assert reorder_point(0, 7, 0) == 0
    assert economic_order_quantity(0, 30, 15) == 0


def test_decimals_from_the_shelf_are_read_too():
    assert safety_stock(D("0.95"), D("2.5"), D("1.2"), D(7)) == safety_stock(0.95, 2.5, 1.2, 7)
    assert isinstance(reorder_point(D(40), 3, D(0)), float)


@pytest.mark.parametrize(
    ("ask", "sentence"),
    [
        (lambda: safety_stock(0, 1, 1, 1), "Service level must be strictly between 0 and 1"),
        (lambda: safety_stock(1, 1, 1, 1), "Service level must be strictly between 0 and 1"),
        (lambda: safety_stock(95, 1, 1, 1), "Service level must be strictly between 0 and 1"),
        (lambda: safety_stock(math.nan, 1, 1, 1), "Service level must be a finite number"),
        (lambda: safety_stock(0.9, -1, 1, 1), "Daily mean must not be below zero"),
        (lambda: safety_stock(0.9, 1, -1, 1), "Daily standard deviation must not be below zero"),
        (lambda: safety_stock(0.9, 1, 1, -1), "Mean lead days must not be below zero"),
        (lambda: safety_stock(0.9, 1, 1, 1, -1), "Standard deviation of lead days must not be below zero"),
        (lambda: safety_stock(0.9, 1, math.inf, 1), "Daily standard deviation must be a finite number"),
        (lambda: safety_stock(0.9, 1e300, 1, 1, 1e300), "Safety stock is too large"),
        (lambda: safety_stock(True, 1, 1, 1), "Service level must be a number"),
        (lambda: safety_stock(0.9, TEXT, 1, 1), "Daily mean must be a number"),
        (lambda: reorder_point(-1, 1, 0), "Daily mean must not be below zero"),
        (lambda: reorder_point(1, -1, 0), "Mean lead days must not be below zero"),
        (lambda: reorder_point(1, 1, -1), "Safety stock must not be below zero"),
        (lambda: reorder_point(10**400, 1, 0), "Daily mean must be a finite number"),
        (lambda: reorder_point(1, D("sNaN"), 0), "Mean lead days must be a finite number"),
        (lambda: economic_order_quantity(-1, 1, 1), "Annual demand must not be below zero"),
        (lambda: economic_order_quantity(1, -1, 1), "Order cost must not be below zero"),
        (lambda: economic_order_quantity(1, 1, 0), "Holding cost must be greater than zero"),
        (lambda: economic_order_quantity(1, 1, -1), "Holding cost must not be below zero"),
        (lambda: economic_order_quantity(1e308, 1e308, 1), "Economic order quantity is too large"),
    ],
)
def test_a_figure_that_makes_no_sense_is_refused_by_name(ask, sentence):
    with pytest.raises(ValueError, match=sentence):
        ask()
