"""The one way an amount of money is rounded."""

from decimal import Decimal

from garage.numbers import exact, round_half_up, whole


def round_money(amount: Decimal, places: int = 2) -> Decimal:
    """Round `amount` to `places` decimals, half-up: a tie goes away from zero (2.675 → 2.68, -2.675 → -2.68).

    The answer always shows exactly `places` decimals. Raises ValueError for an amount that is no finite
    Decimal or whole number, and for places outside 0 to 9.
    """
    return round_half_up(exact(amount, "Amount"), whole(places, "Places", least=0, most=9))
