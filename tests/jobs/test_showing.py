"""A line's figures: both units always, the typed one first; amounts rounded once."""

from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from garage import units
from jobs import amounts, showing
from jobs.amounts import amount

D = Decimal


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        ("1.7", "L", ("1.700 L", "1.796 qt")),  # the design's sample sheet
        ("1", "qt", ("1.000 qt", "0.946 L")),  # NIST Handbook 44 Appendix C: exact
        ("1", "gal", ("1.000 gal", "3.785 L")),  # NIST Handbook 44 Appendix C: exact
        ("1.4", "h", ("1.4 hr", "")),
        ("2", "each", ("2", "")),
        ("-1", "each", ("−1", "")),
    ],
)
def test_a_quantity_stands_in_the_lines_unit_with_the_other_beside(value, unit, shown):
    assert showing.quantity(D(value), unit) == shown


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        ("61.20", "L", ("61.20 / L", "57.92 / qt")),  # the design's sample sheet
        ("36", "L", ("36.00 / L", "34.07 / qt")),  # the design's first example
        ("29.04", "qt", ("29.04 / qt", "30.69 / L")),  # 29.04 / 0.946352946 = 30.686, by hand
        ("128", "h", ("128.00 / hr", "")),
        ("-25", "each", ("−25.00", "")),
        ("0.045", "each", ("0.045", "")),
        ("1234.5", "each", ("1,234.50", "")),
    ],
)
def test_a_price_stands_per_both_units(value, unit, shown):
    assert showing.price(D(value), unit) == shown


@pytest.mark.parametrize(
    ("typed", "unit", "price", "per", "line"),
    [
        # Worked by hand from 1 US qt = 0.946352946 L (NIST Handbook 44, Appendix C): quantity, unit, price, comes to.
        ("2.47", "qt", "30.69", "L", ("2.470", "qt", "29.04", "71.73")),  # 30.69 × 0.946352946 = 29.0436; 2.47 × 29.04
        ("1.9", "qt", "20.46", "qt", ("1.900", "qt", "20.46", "38.87")),  # typed per quart, kept per quart: 38.874
        ("1", "gal", "30.69", "L", ("1.000", "gal", "116.17", "116.17")),  # 30.69 × 3.785411784 = 116.1743
        ("850", "mL", "36", "L", ("0.850", "L", "36.00", "30.60")),  # a milliliter is charged as a liter's thousandth
        ("5", "floz", "30.69", "L", ("5.000", "floz", "0.9076", "4.54")),  # × 0.0295735296 = 0.90761; below 1.00
        ("0.33333333", "qt", "40", "L", ("0.333", "qt", "37.85", "12.60")),  # 40 × 0.946352946 = 37.854; 12.604
        ("1.5", "h", "128", "h", ("1.500", "h", "128.00", "192.00")),
        ("3", "each", "0.045", "each", ("3.000", "each", "0.0450", "0.14")),  # 0.135, half-up
    ],
)
def test_a_line_is_priced_in_the_unit_that_was_typed(typed, unit, price, per, line):
    priced = amounts.priced(D(typed), unit, D(price), per=per)
    comes_to = amount(priced.quantity, priced.unit_price)
    assert (str(priced.quantity), priced.unit, str(priced.unit_price), str(comes_to)) == line


@given(
    st.decimals(min_value=D("0.001"), max_value=D(1000), places=9),
    st.sampled_from(["L", "mL", "qt", "gal", "floz", "impqt", "impgal"]),
    st.decimals(min_value=0, max_value=D(2000), places=6),
    st.sampled_from(["L", "qt", "gal"]),
    st.sampled_from([D(0), D("0.1"), D("0.125"), D("0.333333333")]),
)
def test_printed_quantity_times_printed_price_is_the_printed_amount(number, unit, price, per, discount):
    """Read back from the text alone, multiplied by arithmetic of the test's own."""
    priced = amounts.priced(number, unit, price, per=per)
    quantity, label = showing.quantity(priced.quantity, priced.unit)[0].replace(",", "").split(" ", 1)
    each, per_label = showing.price(priced.unit_price, priced.unit)[0].replace(",", "").split(" / ")
    assert label == per_label == units.label(priced.unit)
    printed = (D(quantity) * D(each) * (1 - discount)).quantize(D("0.01"), ROUND_HALF_UP)
    assert printed == amount(priced.quantity, priced.unit_price, discount)


@given(st.decimals(min_value=D("0.001"), max_value=D(1000), places=3), st.sampled_from(["qt", "gal", "floz"]))
def test_the_shelf_keeps_the_exact_quantity_beside_the_printed_one(number, unit):
    priced = amounts.priced(number, unit, D(1))
    assert abs(units.convert(priced.base_quantity, "L", unit) - number) < D("1e-7")
    assert priced.quantity == number


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
