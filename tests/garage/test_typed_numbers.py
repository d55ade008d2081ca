"""Numbers and days as people type them."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from garage.forms import MoneyFormField, QuantityFormField
from garage.forms_fields import DayField
from jobs.forms import MomentField

D = Decimal


@pytest.mark.parametrize(
    ("typed", "amount"),
    [
        ("12.50", "12.50"),
        ("12,5", "12.5"),
        (".5", "0.5"),
        ("1 234.50", "1234.50"),
        ("1,234.50", "1234.50"),  # as the screens and papers write it, so that it can be copied back
        ("12,345,678.90", "12345678.90"),
        ("−33.32", "-33.32"),
    ],
)
def test_an_amount_is_taken_as_it_is_typed_or_copied_from_the_screen(typed: str, amount: str) -> None:
    assert MoneyFormField().clean(typed) == D(amount)


@pytest.mark.parametrize("typed", ["0206-03-05", "1899-12-31", "3000-01-01", "9999-12-31"])
def test_a_year_that_is_a_slip_is_said_beside_the_day(typed: str) -> None:
    with pytest.raises(ValidationError, match="from 1900 to 2999"):
        DayField().clean(typed)
    with pytest.raises(ValidationError, match="from 1900 to 2999"):
        MomentField().clean(f"{typed}T23:59")


@pytest.mark.parametrize("typed", ["1,500", "1.234,50", "1,23,456.00", "1e3", "1_000", "NaN", "Infinity", "$5", "ten"])
def test_what_can_be_read_two_ways_or_not_at_all_is_asked_about(typed: str) -> None:
    with pytest.raises(ValidationError, match="is not a number"):
        MoneyFormField().clean(typed)


@pytest.mark.parametrize(
    ("typed", "hours"),
    [
        ("0.75", "0.75"),
        ("1,4 h", "1.4"),
        ("1.4 hr", "1.4"),
        ("1:30 hr", "1.5"),
        ("1 1/2", "1.5"),
        ("1:30", "1.5"),
        ("45 min", "0.75"),
        ("20min", "0.33"),
    ],
)
def test_hours_are_taken_by_the_clock_and_in_minutes_too(typed: str, hours: str) -> None:
    assert QuantityFormField(base="h").clean(typed).value == D(hours)


@pytest.mark.parametrize("typed", ["soon", "1:75", "min", "2 days", "-1", "1 qt"])
def test_what_are_no_hours_is_answered_in_hours(typed: str) -> None:
    with pytest.raises(ValidationError, match="write hours like"):
        QuantityFormField(base="h").clean(typed)
