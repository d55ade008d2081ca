"""What drained fluid says about itself and the unit it came from: a verdict in plain words, never a diagnosis.

The scale is our own: fresh, serviceable, worn, spent, contaminated. The rule weighs signs by how strong published
manuals hold them to be; `SIGNS` carries each with its source:

* **Color alone is weak evidence.** Fluids darken in use and in storage without losing their performance, and the
  safety agency refused to set colors as limits (NHTSA interpretation aiam4833 on brake fluid, 40 FR 56928; ASTM
  D1500 warns that color is no reliable guide to quality). A dark, clear fluid is serviceable; color never makes
  a verdict worse than that by itself, except pink that cannot be seen through (water or coolant).
* **Clarity is strong.** Milky fluid holds water or coolant; cloudy fluid is worn until it is known why.
* **A burnt smell is strong.** It tells of overheated fluid, from heavy use or a slipping clutch or band.
* **Metal is strong.** A fine gray paste on the magnet is usual wear (common practice, no source); glitter, flakes and
  chunks are not, and are a reason to look before the fluid is filled.

The worst sign decides. Pure: no Django here.
"""

from dataclasses import dataclass
from typing import Final

#: The words of the scale, from best to worst.
SCALE: Final = ("fresh", "serviceable", "worn", "spent", "contaminated")

#: What may be said of the color. The first is compared with the new fluid beside it.
COLORS: Final = (
    "as fresh",
    "a little darker",
    "amber",
    "brown",
    "dark brown",
    "black",
    "gray",
    "pink",
)

NAVY = "US Navy NAVEDTRA 14050, Construction Mechanic, automatic transmission maintenance"
LEVEL_CHECK = "a car maker's 2001 procedure “Checking fluid level and condition”"
SERVICE_MANUAL = "a car maker's service manual"
HEAVY_DUTY = "mechanic's tips of a heavy-duty automatic transmission's maker, paragraphs 1-7 and 2-8"
HEAVY_DUTY_TABLE = "the same mechanic's tips, table 2-4"
MAINTENANCE_BOOK = "a general maintenance book"
NHTSA = "NHTSA interpretation aiam4833 (40 FR 56928)"
MARINE = "a marine engineering course text"
PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Seen:
    """What was seen of a sample, in the words of the form."""

    color: str = "as fresh"
    clarity: str = "clear"
    particles: str = "none"
    smell: str = "usual"


@dataclass(frozen=True)
class Sign:
    """One sign, how bad the rule takes it to be, what it may mean, what to do, and who says so.

    `verdict` is empty where only a laboratory sees the sign: it is shown in the help and takes no part in the rule.
    """

    sign: str
    verdict: str
    meaning: str
    action: str
    source: str


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


_LOOK_FIRST = "Tell the customer before filling: have the unit inspected first."

SIGNS: Final[dict[str, Sign]] = {
    "milky": Sign(
        "milky",
        "contaminated",
        "Water or coolant is in the fluid.",
        "Find where it comes in and have it repaired at once; new fluid alone does not help.",
        MAINTENANCE_BOOK,
    ),
    "opaque pink": Sign(
        "opaque pink",
        "contaminated",
        "The fluid is contaminated with water or coolant.",
        "Drain it, find the source, and have the unit overhauled where it is confirmed.",
        LEVEL_CHECK,
    ),
    "chunks": Sign(
        "large pieces of metal or other material",
        "spent",
        "Something inside is broken.",
        f"Do not drive. {_LOOK_FIRST}",
        LEVEL_CHECK,
    ),
    "flakes": Sign(
        "flakes of metal",
        "spent",
        "Metal beyond the finest points to damage inside.",
        f"{_LOOK_FIRST} Clean the cooler circuit.",
        HEAVY_DUTY,
    ),
    "glitter": Sign(
        "glitter of metal",
        "spent",
        "Metal beyond the finest points to damage inside.",
        f"{_LOOK_FIRST} Compare with the next sample after a short distance.",
        HEAVY_DUTY,
    ),
    "burnt": Sign(
        "burnt smell",
        "spent",
        "The fluid was overheated: heavy use, or a clutch or band that slips.",
        "Change it, and have the unit inspected for what overheated it.",
        NAVY,
    ),
    "other smell": Sign(
        "another smell than usual",
        "worn",
        "An acrid smell tells of oxidized fluid; fuel or solvent smell tells of what got in.",
        "Change it, and write down what it smells of.",
        MARINE,
    ),
    "cloudy": Sign(
        "cloudy",
        "worn",
        "Something is mixed in: air, fine solids or a little water.",
        "Let a glass of it stand; if it stays cloudy, look for water.",
        PRACTICE,
    ),
    "opaque": Sign(
        "opaque",
        "worn",
        "Solids or soot are held in the fluid.",
        "Change it; wipe a drop on white paper and look for specks or gum.",
        SERVICE_MANUAL,
    ),
    "paste": Sign(
        "fine gray paste on the magnet",
        "serviceable",
        "Usual wear.",
        "Clean the magnet; write it down to compare next time.",
        PRACTICE,
    ),
    "brown": Sign(
        "brown",
        "serviceable",
        "It may have been warm; brown by itself, clear and without a burnt smell, is not a fault.",
        "Look for debris; change it when it is due.",
        LEVEL_CHECK,
    ),
    "dark": Sign(
        "darker than fresh",
        "serviceable",
        "Fluid darkens in use; color alone is weak evidence.",
        "Change it when it is due.",
        NHTSA,
    ),
    "fresh": Sign("clear, like fresh", "fresh", "Nothing speaks against it.", "Nothing to do.", MAINTENANCE_BOOK),
}

#: Signs that no eye or nose in a bay can tell; shown in the help so that nobody looks for them in the pan.
LABORATORY: Final = (
    Sign("water content above 0.2%", "", "More than usual condensation.", "Pressure-test the cooler.", HEAVY_DUTY),
    Sign("viscosity high", "", "Sludge, water or the wrong oil.", "Test for water, and change.", HEAVY_DUTY_TABLE),
    Sign("viscosity low", "", "The wrong oil.", "Change it.", HEAVY_DUTY_TABLE),
    Sign("silicon rising", "", "Dirt or dust.", "Sample again; change the oil.", HEAVY_DUTY_TABLE),
    Sign("sodium rising", "", "Water, with boron: coolant.", "Change the oil; find the leak.", HEAVY_DUTY_TABLE),
)


def judge(seen: Seen) -> Verdict:
    """Return the verdict on a sample; the worst sign decides. Raises ValueError for a word that no form offers."""
    names = [*_clarity(seen), *_particles(seen), *_smell(seen), *_color(seen)] or ["fresh"]
    signs = sorted((SIGNS[name] for name in names), key=lambda sign: -SCALE.index(sign.verdict))
    return Verdict(signs[0].verdict, tuple(signs))


def _clarity(seen: Seen) -> list[str]:
    if seen.clarity == "opaque" and seen.color == "pink":
        return ["opaque pink"]
    return _named(
        seen.clarity, "Clarity", {"clear": [], "cloudy": ["cloudy"], "opaque": ["opaque"], "milky": ["milky"]}
    )


def _particles(seen: Seen) -> list[str]:
    known = {"none": [], **{name: [name] for name in ("paste", "glitter", "flakes", "chunks")}}
    return _named(seen.particles, "Particles", known)


def _smell(seen: Seen) -> list[str]:
    return _named(seen.smell, "Smell", {"usual": [], "burnt": ["burnt"], "other": ["other smell"]})


def _color(seen: Seen) -> list[str]:
    if not seen.color.strip():
        raise ValueError("Color must be said.")
    if seen.color == "as fresh":
        return []
    return ["brown"] if "brown" in seen.color else ["dark"]


def _named(word: str, name: str, known: dict[str, list[str]]) -> list[str]:
    if word not in known:
        raise ValueError(f"{name} “{word}” is not known.")
    return known[word]
