"""A line's figures: both units always, the typed one first; amounts rounded once."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from garage import units
from jobs import showing
from jobs.amounts import amount

D = Decimal


@pytest.mark.parametrize(
    ("value", "unit", "typed", "shown"),
    [
        ("1.7", "L", "1.7 L", ("1.700 L", "1.796 qt")),  # the design's sample sheet
        ("0.85", "L", "", ("0.850 L", "0.898 qt")),
        ("0.946352946", "L", "1 qt", ("1.000 qt", "0.946 L")),  # NIST Handbook 44 Appendix C: exact
        ("0.85", "L", "850 ml", ("850 mL", "0.850 L · 0.898 qt")),
        ("3.785411784", "L", "1 gal", ("1.000 gal", "3.785 L · 4.000 qt")),  # NIST Handbook 44 Appendix C: exact
        ("1.4", "h", "1.4 h", ("1.4 h", "")),
        ("2", "each", "2", ("2", "")),
    ],
)
def test_a_quantity_stands_in_the_unit_that_was_typed_with_the_other_beside(value, unit, typed, shown):
    assert showing.quantity(D(value), unit, typed) == shown


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        ("61.20", "L", ("61.20 / L", "57.92 / qt")),  # the design's sample sheet
        ("36", "L", ("36.00 / L", "34.07 / qt")),  # the design's first example
        ("128", "h", ("128.00 / h", "")),
        ("0.045", "each", ("0.045", "")),
        ("1234.5", "each", ("1,234.50", "")),
    ],
)
def test_a_price_stands_per_both_units(value, unit, shown):
    assert showing.price(D(value), unit) == shown


@given(st.decimals(min_value=D("0.001"), max_value=D(1000), places=9), st.sampled_from(["L", "mL", "qt", "gal"]))
def test_what_was_typed_in_one_unit_is_what_is_shown_first(value, unit):
    shown = showing.quantity(value, "L", f"1 {unit}")[0]
    number, _, label = shown.partition(" ")
    assert label == units.label(unit)
    assert abs(units.convert(D(number), unit, "L") - value) <= units.convert(D("0.0005"), "gal", "L")


@pytest.mark.parametrize(
    ("quantity", "price", "discount", "comes_to"),
    [
        ("0.85", "36", "0", "30.60"),  # design: 0.85 L of a liter at 36.00
        ("1.7", "61.20", "0", "104.04"),  # the design's sample sheet
        ("1", "2.675", "0", "2.68"),  # a tie goes up
        ("3", "1.115", "0.1", "3.01"),
        ("1", "10", "1", "0.00"),
    ],
)
def test_a_line_comes_to_quantity_times_price_less_discount_rounded_once(quantity, price, discount, comes_to):
    assert str(amount(D(quantity), D(price), D(discount))) == comes_to


@pytest.mark.parametrize("discount", ["-0.01", "1.01", "NaN"])
def test_a_discount_is_a_share(discount):
    with pytest.raises(ValueError, match="Discount"):
        amount(D(1), D(1), D(discount))
