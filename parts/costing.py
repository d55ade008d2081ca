"""What an issue from the shelf cost: first in first out, or moving average. Pure: no Django here.

A fluid is bought by the bottle and used by the fraction, so a move's quantity may be any fraction of the
base unit. Nothing is rounded on the way; the caller rounds once, where the figure is written down.
"""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal, localcontext

from garage.numbers import ANSWER, WORKING, exact, not_negative

ZERO = Decimal(0)


@dataclass(frozen=True)
class Move:
    """One movement of stock: a receipt when `quantity` is above zero, an issue when it is below.

    `quantity` is in the item's base unit and `unit_cost` in money for one base unit. A receipt needs its cost
    (0 for goods got free); an issue takes its cost from the shelf, so any cost written on it is not used.
    """

    quantity: Decimal
    unit_cost: Decimal | None


@dataclass(frozen=True)
class Costing:
    """What each issue cost, in order, and the quantity and value that are left on the shelf."""

    issue_costs: list[Decimal]
    quantity: Decimal
    value: Decimal


def fifo(moves: Iterable[Move]) -> Costing:
    """Cost issues from the oldest receipt that still has something left (first in, first out; perpetual).

    Raises ValueError for a receipt without a cost, a zero quantity, and an issue of more than is on hand.
    """
    layers: deque[tuple[Decimal, Decimal]] = deque()
    costs: list[Decimal] = []
    with localcontext(WORKING):
        for quantity, unit_cost in _checked(moves):
            if quantity > 0:
                layers.append((quantity, unit_cost))
            else:
                costs.append(_take(layers, -quantity))
        on_hand = sum((quantity for quantity, _ in layers), ZERO)
        value = sum((quantity * unit_cost for quantity, unit_cost in layers), ZERO)
    return Costing(costs, on_hand, value)


def moving_average(moves: Iterable[Move]) -> Costing:
    """Cost issues at the average cost of what is on hand at that moment (moving average; perpetual).

    An issue's cost is value × quantity issued / quantity on hand, to 28 digits where the quotient does not
    end; the value left is what remains after subtracting it, so costs and value always add up to the
    receipts. Raises ValueError for a receipt without a cost, a zero quantity, and an issue of more than is
    on hand.
    """
    on_hand = value = ZERO
    costs: list[Decimal] = []
    with localcontext(WORKING):
        for quantity, unit_cost in _checked(moves):
            if quantity > 0:
                value += quantity * unit_cost
            else:
                emptied = -quantity == on_hand
                cost = value if emptied else ANSWER.divide(value * -quantity, on_hand)
                costs.append(cost)
                value -= cost
            on_hand += quantity
    return Costing(costs, on_hand, value)


def _checked(moves: Iterable[Move]) -> list[tuple[Decimal, Decimal]]:
    """Read every move as (quantity, unit cost) and refuse the first that cannot be costed."""
    checked: list[tuple[Decimal, Decimal]] = []
    on_hand = ZERO
    for number, move in enumerate(moves, start=1):
        quantity = exact(move.quantity, f"Quantity of move {number}")
        if quantity == 0:
            raise ValueError(f"Quantity of move {number} must not be zero.")
        if quantity > 0 and move.unit_cost is None:
            raise ValueError(f"Unit cost of move {number} is missing: a receipt needs one.")
        unit_cost = ZERO
        if move.unit_cost is not None:
            unit_cost = not_negative(move.unit_cost, f"Unit cost of move {number}")
        if on_hand + quantity < 0:
            raise ValueError(f"Quantity of move {number} is more than is on hand: {-quantity} issued of {on_hand}.")
        on_hand += quantity
        checked.append((quantity, unit_cost))
    return checked


def _take(layers: deque[tuple[Decimal, Decimal]], wanted: Decimal) -> Decimal:
    """Take `wanted` from the oldest layers and answer what it cost."""
    cost = ZERO
    while wanted > 0:
        quantity, unit_cost = layers.popleft()
        taken = min(quantity, wanted)
        cost += taken * unit_cost
        wanted -= taken
        if quantity > taken:
            layers.appendleft((quantity - taken, unit_cost))
    return cost
