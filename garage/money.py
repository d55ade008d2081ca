"""The one way an amount of money is rounded, and the one way it is written with its currency."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from decimal import Decimal

from garage.numbers import exact, round_half_up, whole


def round_money(amount: Decimal, places: int = 2) -> Decimal:
    """Round `amount` to `places` decimals, half-up: a tie goes away from zero (2.675 → 2.68, -2.675 → -2.68).

    The answer always shows exactly `places` decimals. Raises ValueError for an amount that is no finite
    Decimal or whole number, and for places outside 0 to 9.
    """
    return round_half_up(exact(amount, "Amount"), whole(places, "Places", least=0, most=9))


#: The signs that stand before an amount; other currencies are named after it by their ISO 4217 code.
SIGNS = {"USD": "$", "EUR": "€", "GBP": "£"}


#: The currency of the book, in which sentences name amounts: one a book, so it is said once a request.
_spoken: ContextVar[str] = ContextVar("currency", default="USD")


def in_currency(amount: Decimal, currency: str, places: int = 2) -> str:
    """An amount of money as it stands alone: $1,234.50, −$0.40, 12.00 CHF; half-up to cents, with a true minus."""
    rounded = round_money(amount, places)
    minus, figure = "−" if rounded < 0 else "", f"{abs(rounded):,.{places}f}"
    sign = SIGNS.get(currency)
    return f"{minus}{sign}{figure}" if sign else f"{minus}{figure} {currency}".rstrip()


@contextmanager
def spoken_in(currency: str) -> Iterator[None]:
    """Name amounts in sentences in this currency, for as long as the block lasts."""
    token = _spoken.set(currency)
    try:
        yield
    finally:
        _spoken.reset(token)


def spoken(amount: Decimal, places: int = 2) -> str:
    """An amount of money as sentences name it, in the currency of the book: $1,234.50, −$0.40."""
    return in_currency(amount, _spoken.get(), places)
