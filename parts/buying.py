"""What to buy of an item that runs low, and the sentence that says why. Pure: no Django here."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from garage import units
from garage.numbers import answer, round_half_up
from parts.packs import PackOffer, cheapest_packs


@dataclass(frozen=True)
class Suggestion:
    """Packs to buy (label → number, only those bought), what they cost together, and why."""

    counts: dict[str, int]
    cost: Decimal
    sentence: str


def amount(quantity: Decimal, unit: str) -> str:
    """A quantity as it is written on the shelf: 0.340 L, 7 each."""
    if unit == "each":
        return f"{answer(quantity):f} {units.label(unit)}"
    return f"{round_half_up(quantity, 3):,f} {units.label(unit)}"


def is_low(on_hand: Decimal, minimum: Decimal) -> bool:
    """At or under the minimum; an item without a minimum is never low."""
    return 0 < minimum >= on_hand


def suggest(on_hand: Decimal, minimum: Decimal, wanted: Decimal, unit: str, offers: Sequence[PackOffer]) -> Suggestion:
    """The cheapest packs that fill up to `wanted` (or to the minimum when nothing is wanted beyond it)."""
    target = max(minimum, wanted)
    state = f"on hand {amount(on_hand, unit)}, minimum {amount(minimum, unit)}"
    state += f", fill up to {amount(target, unit)}" if target > minimum else ""
    if on_hand >= target:
        return Suggestion({}, Decimal(0), f"{state}: nothing missing yet")
    if not offers:
        return Suggestion({}, Decimal(0), f"{state}: no pack with a price is known")
    choice = cheapest_packs(target, offers, on_hand)
    packs = " and ".join(f"{count} × {label}" for label, count in choice.counts.items())
    return Suggestion(choice.counts, choice.cost, f"{state}: {packs}")
