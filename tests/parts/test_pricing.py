"""The selling price from the cost."""

from decimal import Decimal as D
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parts.pricing import Band, selling_price

# What a caller may hand over by mistake: Any, so that the type checker lets it through to the check.
FLOAT: Any = 0.4
TRUE: Any = True
WHOLE: Any = 2

# Common practice, no source: small parts carry a larger share than dear ones.
BANDS = [Band(D(10), D("1.00")), Band(D(50), D("0.60")), Band(D(200), D("0.40")), Band(None, D("0.25"))]


@pytest.mark.parametrize(
    ("cost", "price"),
    [
        ("0", "0"),
        ("2.50", "5.00"),
        ("10", "20"),  # the limit belongs to its band
        ("10.000001", "16.0000016"),
        ("50", "80"),
        ("200.00", "280.00"),
        ("200.01", "250.0125"),
        ("1000", "1250"),
    ],
)
def test_the_band_is_chosen_by_the_unit_cost_and_nothing_is_rounded(cost, price):
    assert selling_price(D(cost), BANDS) == D(price)


def test_a_markup_of_forty_percent_on_thirty_six_a_liter():
    assert selling_price(D("36.00"), [Band(None, D("0.40"))]) == D("50.40")


def test_whole_numbers_are_welcome():
    assert selling_price(WHOLE, [Band(WHOLE, WHOLE), Band(None, D(0))]) == D(6)


@given(cost=st.decimals(0, 5000, places=6))
def test_never_sold_below_cost(cost):
    assert selling_price(cost, BANDS) >= cost


@pytest.mark.parametrize(
    ("cost", "bands", "sentence"),
    [
        (D(-1), BANDS, "Unit cost must not be below zero"),
        (D("NaN"), BANDS, "Unit cost must be a finite number"),
        (FLOAT, BANDS, "Unit cost must be an exact decimal number"),
        (TRUE, BANDS, "Unit cost must be an exact decimal number"),
        (D(1), [], "Bands are missing"),
        (D(1), [Band(D(10), D(1))], "Limit of band 1 must be left open"),
        (D(1), [Band(None, D(1)), Band(None, D(1))], "Limit of band 1 is missing"),
        (D(1), [Band(D(50), D(1)), Band(D(10), D(1)), Band(None, D(1))], "Limit of band 2 must be above 50"),
        (D(1), [Band(D(10), D(1)), Band(D(10), D(1)), Band(None, D(1))], "Limit of band 2 must be above 10"),
        (D(1), [Band(D(-1), D(1)), Band(None, D(1))], "Limit of band 1 must not be below zero"),
        (D(1), [Band(D(10), D(1)), Band(None, D("-0.1"))], "Markup of band 2 must not be below zero"),
        (D(1), [Band(None, D("Infinity"))], "Markup of band 1 must be a finite number"),
        (D(1), [Band(None, FLOAT)], "Markup of band 1 must be an exact decimal number"),
    ],
)
def test_a_wrong_cost_or_table_is_refused_by_name(cost, bands, sentence):
    with pytest.raises(ValueError, match=sentence):
        selling_price(cost, bands)
