"""Money is rounded half-up, once, in one place."""

from decimal import ROUND_HALF_EVEN, Decimal, getcontext, localcontext
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from garage.money import round_money

AMOUNTS = st.decimals(min_value=-(10**12), max_value=10**12, places=8)


@pytest.mark.parametrize(
    ("amount", "places", "rounded"),
    [
        ("2.675", 2, "2.68"),
        ("2.665", 2, "2.67"),  # to even would be 2.66
        ("-2.675", 2, "-2.68"),
        ("0.6846", 2, "0.68"),  # 9.78 at 7 %: Streamlined Sales and Use Tax Agreement section 324, computed
        ("140.976", 2, "140.98"),  # 704.88 at 20 %: HMRC VATREC12010, half-up
        ("30.60", 2, "30.60"),
        ("34.0687060560", 6, "34.068706"),
        ("0.0000005", 6, "0.000001"),
        ("0.5", 0, "1"),
        ("-0.5", 0, "-1"),
    ],
)
def test_a_tie_goes_away_from_zero(amount: str, places: int, rounded: str) -> None:
    assert str(round_money(Decimal(amount), places)) == rounded


def test_cents_are_always_shown_and_zero_has_no_sign() -> None:
    assert str(round_money(Decimal(7))) == "7.00"
    assert str(round_money(7)) == "7.00"  # type: ignore[arg-type]  # whole numbers are welcome
    assert str(round_money(Decimal("-0.004"))) == "0.00"


@pytest.mark.parametrize("amount", ["NaN", "sNaN", "Infinity", "-Infinity", "1E+18"])
def test_no_such_amount(amount: str) -> None:
    with pytest.raises(ValueError, match=r"^Amount .*\.$"):
        round_money(Decimal(amount))


@pytest.mark.parametrize("amount", [0.1, True, None, "1.00"])
def test_an_inexact_amount_is_refused(amount: Any) -> None:
    with pytest.raises(ValueError, match=r"^Amount must be an exact decimal number"):
        round_money(amount)


@pytest.mark.parametrize("places", [-1, 10, 2.0, True])
def test_no_such_places(places: Any) -> None:
    with pytest.raises(ValueError, match=r"^Places must be"):
        round_money(Decimal(1), places)


@given(AMOUNTS, st.integers(0, 6))
def test_rounding_moves_an_amount_by_half_a_unit_at_most(amount: Decimal, places: int) -> None:
    assert abs(round_money(amount, places) - amount) <= Decimal("0.5").scaleb(-places)


@given(AMOUNTS)
def test_rounding_twice_changes_nothing_and_mirrors_credits(amount: Decimal) -> None:
    once = round_money(amount)
    assert round_money(once) == once
    assert round_money(-amount) == -once


@given(AMOUNTS, AMOUNTS)
def test_the_larger_amount_stays_the_larger(one: Decimal, other: Decimal) -> None:
    low, high = sorted((one, other))
    assert round_money(low) <= round_money(high)


def test_the_callers_decimal_context_does_not_matter() -> None:
    with localcontext() as context:
        context.prec, context.rounding = 3, ROUND_HALF_EVEN
        assert round_money(Decimal("12345.665")) == Decimal("12345.67")
    assert getcontext().prec != 3
