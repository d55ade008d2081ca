"""What drained fluid says about itself and the unit it came from: a verdict in plain words, never a diagnosis.

The scale is our own: fresh, serviceable, worn, spent, contaminated. The rule weighs signs by how strong published
manuals hold them to be; fluid_signs.py carries each with its source:

* **Color alone is weak evidence.** Fluids darken in use and in storage without losing their performance, and the
  safety agency refused to set colors as limits (NHTSA interpretation aiam4833 on brake fluid, 40 FR 56928; ASTM
  D1500 warns that color is no reliable guide to quality). A dark, clear fluid is serviceable; color never makes
  a verdict worse than that by itself, except opaque pink (water or coolant), and a color that
  another kind of fluid has. Coolant's brown is rust (common practice, no source).
* **Clarity is strong.** Milky fluid holds water or coolant; cloudy fluid is worn until it is known why.
* **A burnt smell is strong.** It tells of overheated fluid, from heavy use or a slipping clutch or band.
* **Metal is strong.** A fine gray paste on the magnet is usual wear (common practice, no source); glitter, flakes and
  chunks are not, and are a reason to look before the fluid is filled.
* **A tester's figure is strong**: water in brake fluid, what it boils at, what coolant freezes at.

The worst sign decides. Which words there are for which kind of fluid: fluids.py. Pure: no Django here.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from jobs.fluid_signs import Sign
from jobs.fluids import FLUIDS, OIL, THINGS, Fluid, minimums

#: The words of the scale, from best to worst.
SCALE: Final = ("fresh", "serviceable", "worn", "spent", "contaminated")


@dataclass(frozen=True)
class Seen:
    """What was seen of a sample, in the words of the form, and what a tester gave: °C, and water in percent."""

    color: str = "as fresh"
    clarity: str = "clear"
    particles: str = "none"
    smell: str = "usual"
    kind: str = OIL
    freeze_point: Decimal | None = None
    water: Decimal | None = None
    boiling_point: Decimal | None = None
    specification: str = ""


@dataclass(frozen=True)
class Verdict:
    """The word of the scale, and the signs that led to it, the deciding ones first."""

    word: str
    signs: tuple[Sign, ...]

    @property
    def meaning(self) -> str:
        """What it may mean, from the deciding sign."""
        return self.signs[0].meaning

    @property
    def action(self) -> str:
        """What to do about it, from the deciding sign."""
        return self.signs[0].action

    @property
    def stopping(self) -> tuple[Sign, ...]:
        """The signs that are to be looked into before anything is filled; none: the work goes on."""
        return tuple(sign for sign in self.signs if sign.stops)


def judge(seen: Seen) -> Verdict:
    """Return the verdict on a sample; the worst sign decides. Raises ValueError for a word that no form offers."""
    fluid = FLUIDS.get(seen.kind)
    if fluid is None:
        raise ValueError(f"Fluid “{seen.kind}” is not known.")
    names = [*_looked_at(fluid, seen), *_measured(seen)] or ["fresh"]
    # Stopping signs stand before others of their rank: what is said to be done is the one that cannot wait.
    signs = sorted((fluid.signs[name] for name in names), key=lambda sign: (-SCALE.index(sign.verdict), not sign.stops))
    return Verdict(signs[0].verdict, tuple(signs))


def _looked_at(fluid: Fluid, seen: Seen) -> list[str]:
    names = {thing: _sign(fluid, thing, getattr(seen, thing)) for thing in THINGS if thing in fluid.words}
    if seen.clarity == "opaque" and seen.color == "pink" and "opaque pink" in fluid.signs:
        names["clarity"] = "opaque pink"
    return [name for name in names.values() if name]


def _sign(fluid: Fluid, thing: str, word: str) -> str:
    if not word.strip():
        raise ValueError(f"{thing.capitalize()} must be said.")
    if thing == "color" and word not in fluid.words[thing]:  # a color that no form has offered is no fresh one
        return fluid.other_color
    if word not in fluid.words[thing]:
        raise ValueError(f"{thing.capitalize()} “{word}” is not known.")
    return fluid.words[thing][word]


def _measured(seen: Seen) -> list[str]:
    """The signs of the figures; the limits stand beside each sign in fluid_signs.py, with their sources."""
    names = []
    if seen.freeze_point is not None and seen.freeze_point > -18:
        names.append("weak")
    if seen.water is not None and seen.water >= 2:
        names.append("wet" if seen.water >= 3 else "damp")
    if seen.boiling_point is not None:
        dry, wet = minimums(seen.specification)
        if seen.boiling_point < dry:
            names.append("boils early" if seen.boiling_point < wet else "boils lower")
    return names
