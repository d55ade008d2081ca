"""What a line comes to. Pure: no Django here."""

from decimal import Decimal, localcontext

from garage.money import round_money
from garage.numbers import WORKING, exact, not_negative


def amount(quantity: Decimal, unit_price: Decimal, discount: Decimal = Decimal(0)) -> Decimal:
    """quantity × unit price × (1 − discount), rounded half-up to cents once.

    The invoice counts the same way (a test holds the two together), so that what the counter reads out is what the
    customer pays. `discount` is a share from 0 to 1. Raises ValueError for a discount outside it and for a
    non-finite figure.
    """
    share = not_negative(discount, "Discount")
    if share > 1:
        raise ValueError(f"Discount must be a share from 0 to 1, not {share}: 0.20 is 20 %.")
    with localcontext(WORKING):
        net = exact(quantity, "Quantity") * exact(unit_price, "Unit price") * (1 - share)
    return round_money(net)
