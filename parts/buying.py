"""What to buy of an item that runs low, and the sentence that says why. Pure: no Django here."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from garage import units
from garage.numbers import answer, minus, round_half_up
from parts.packs import PackOffer, cheapest_packs


@dataclass(frozen=True)
class Suggestion:
    """Packs to buy (label → number, only those bought), what they cost together, why, and what stands against it."""

    counts: dict[str, int]
    cost: Decimal
    why: str
    but: str = ""

    @property
    def packs(self) -> str:
        """The packs in words: 5 × 1 L bottle and 1 × 5 L jug."""
        return " and ".join(f"{count} × {label}" for label, count in self.counts.items())

    @property
    def sentence(self) -> str:
        """Why, and what to buy: on hand 0.340 L, minimum 2.000 L, fill up to 5.000 L: 5 × 1 L bottle."""
        return f"{self.why}: {self.packs or self.but}"


def amount(quantity: Decimal, unit: str) -> str:
    """A quantity as it is written on the shelf: 0.340 L, 7 ea."""
    if unit == "each":
        return minus(f"{answer(quantity):f} {units.label(unit)}")
    return minus(f"{round_half_up(quantity, 3):,f} {units.label(unit)}")


def is_low(on_hand: Decimal, minimum: Decimal) -> bool:
    """At or under the minimum; an item without a minimum is never low."""
    return 0 < minimum >= on_hand


def suggest(on_hand: Decimal, minimum: Decimal, wanted: Decimal, unit: str, offers: Sequence[PackOffer]) -> Suggestion:
    """The cheapest packs that fill up to `wanted` (or to the minimum when nothing is wanted beyond it)."""
    target = max(minimum, wanted)
    why = f"on hand {amount(on_hand, unit)}, minimum {amount(minimum, unit)}"
    why += f", fill up to {amount(target, unit)}" if target > minimum else ""
    if on_hand >= target:
        return Suggestion({}, Decimal(0), why, "nothing is missing yet")
    if not offers:
        return Suggestion({}, Decimal(0), why, "no pack with a price is known")
    choice = cheapest_packs(target, offers, on_hand)
    return Suggestion(choice.counts, choice.cost, why)
