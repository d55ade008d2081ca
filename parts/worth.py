"""What a movement of stock is worth, so that nothing is lost to rounding. Pure: no Django here.

Values have six places of the currency. A draw is worth its quantity at what the container cost a unit, rounded
half-up; the draw that empties a container takes whatever value is left in it, so that a container's movements
always add up to nothing more and nothing less than what was paid for it.
"""

from decimal import Decimal

from garage.numbers import not_negative, positive, round_half_up

PLACES = 6


def unit_cost(price: Decimal, size: Decimal) -> Decimal:
    """What one base unit cost when a pack of `size` cost `price`: 45.00 for a box of 10 is 4.50 each.

    Raises ValueError for a price below zero and a size that is not above it.
    """
    return round_half_up(not_negative(price, "Price") / positive(size, "Size"), PLACES)


def added_value(quantity: Decimal, cost: Decimal) -> Decimal:
    """What `quantity` is worth that is added at `cost` a base unit."""
    return round_half_up(positive(quantity, "Quantity") * not_negative(cost, "Cost"), PLACES)


def taken_value(quantity: Decimal, cost: Decimal, content: Decimal, value: Decimal) -> Decimal:
    """What `quantity` is worth that is taken from a container holding `content` worth `value`.

    Raises ValueError when more is taken than it holds.
    """
    if positive(quantity, "Quantity") > content:
        raise ValueError(f"Quantity is more than the container holds: {quantity} of {content}.")
    return value if quantity == content else min(added_value(quantity, cost), value)


def returned_value(quantity: Decimal, drawn: Decimal, value: Decimal) -> Decimal:
    """What `quantity` is worth that comes back of `drawn`, which took `value` with it; all of it brings all back.

    Raises ValueError when more comes back than was drawn.
    """
    if positive(quantity, "Quantity") > drawn:
        raise ValueError(f"Quantity is more than was taken: {quantity} of {drawn}.")
    return value if quantity == drawn else min(round_half_up(value * quantity / drawn, PLACES), value)
