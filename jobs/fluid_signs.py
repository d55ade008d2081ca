"""The signs that drained fluid shows, by kind of fluid: how bad each is taken to be, what to do, and who says so.

A sign with `stops` is one to look into before new fluid goes in: the operation waits until somebody has said what is
to be done. What a change by itself mends, such as water in brake fluid, stops nothing. Pure: no Django here.
"""

from dataclasses import dataclass
from typing import Final

NAVY = "US Navy NAVEDTRA 14050, Construction Mechanic, automatic transmission maintenance"
LEVEL_CHECK = "a car maker's 2001 procedure “Checking fluid level and condition”"
SERVICE_MANUAL = "a car maker's service manual"
HEAVY_DUTY = "mechanic's tips of a heavy-duty automatic transmission's maker, paragraphs 1-7 and 2-8"
HEAVY_DUTY_TABLE = "the same mechanic's tips, table 2-4"
MAINTENANCE_BOOK = "a general maintenance book"
NHTSA = "NHTSA interpretation aiam4833 (40 FR 56928)"
MARINE = "a marine engineering course text"
PRACTICE = "common practice, no source"
FMVSS = "49 CFR 571.116 S5.1.1 and S5.1.2"
FMVSS_COLORS = "49 CFR 571.116 S5.1.14; NHTSA interpretation letters"


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
    stops: bool = False


_LOOK_FIRST = "Tell the customer before filling: have the unit inspected first."

OIL_SIGNS: Final[dict[str, Sign]] = {
    "milky": Sign(
        "milky",
        "contaminated",
        "Water or coolant is in the fluid.",
        "Find where it comes in and have it repaired at once; new fluid alone does not help.",
        MAINTENANCE_BOOK,
        stops=True,
    ),
    "opaque pink": Sign(
        "opaque pink",
        "contaminated",
        "The fluid is contaminated with water or coolant.",
        "Drain it, find the source, and have the unit overhauled where it is confirmed.",
        LEVEL_CHECK,
        stops=True,
    ),
    "chunks": Sign(
        "large pieces of metal or other material",
        "spent",
        "Something inside is broken.",
        f"Do not drive. {_LOOK_FIRST}",
        LEVEL_CHECK,
        stops=True,
    ),
    "flakes": Sign(
        "flakes of metal",
        "spent",
        "Metal beyond the finest points to damage inside.",
        f"{_LOOK_FIRST} Clean the cooler circuit.",
        HEAVY_DUTY,
        stops=True,
    ),
    "glitter": Sign(
        "glitter of metal",
        "spent",
        "Metal beyond the finest points to damage inside.",
        f"{_LOOK_FIRST} Compare with the next sample after a short distance.",
        HEAVY_DUTY,
        stops=True,
    ),
    "burnt": Sign(
        "burnt smell",
        "spent",
        "The fluid was overheated: heavy use, or a clutch or band that slips.",
        "Change it, and have the unit inspected for what overheated it.",
        NAVY,
        stops=True,
    ),
    "other smell": Sign(
        "another smell than usual",
        "worn",
        "An acrid smell tells of oxidized fluid; fuel or solvent smell tells of what got in.",
        "Change it, and note what it smells of.",
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
        "Clean the magnet; note it to compare next time.",
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

COOLANT_SIGNS: Final[dict[str, Sign]] = {
    "milky": Sign(
        "milky",
        "contaminated",
        "Oil or transmission fluid is in the coolant.",
        "Find where it comes in and have it repaired before filling; new coolant alone does not help.",
        PRACTICE,
        stops=True,
    ),
    "oil film": Sign(
        "oil film",
        "contaminated",
        "Oil gets in: a cooler or the head gasket may leak.",
        "Find where it comes in before filling, and clean the whole circuit.",
        PRACTICE,
        stops=True,
    ),
    "exhaust": Sign(
        "smell of exhaust or fuel",
        "contaminated",
        "Combustion gas may get into the coolant.",
        "Test the coolant for combustion gas before filling; do not drive it hot.",
        PRACTICE,
        stops=True,
    ),
    "jelly": Sign(
        "jelly",
        "contaminated",
        "Two coolants that do not mix were filled, or a sealer was.",
        "Tell the customer before filling: flush until it runs clear, and see that radiator and heater are free.",
        PRACTICE,
        stops=True,
    ),
    "rust": Sign(
        "rust",
        "spent",
        "The protection against corrosion is used up, or plain water was filled.",
        "Tell the customer before filling: flush until it runs clear, and look at cap, radiator and water pump.",
        PRACTICE,
        stops=True,
    ),
    "scale": Sign(
        "scale",
        "worn",
        "Hard water was filled.",
        "Flush, and fill with the mixture the maker names.",
        PRACTICE,
    ),
    "other smell": Sign(
        "another smell than usual",
        "worn",
        "Something got in.",
        "Note what it smells of, and look for where it comes in.",
        PRACTICE,
    ),
    "weak": Sign(
        "freezes above 0 °F (−18 °C)",
        "worn",
        "Thinner than about a third of antifreeze, so with less protection against corrosion and boiling too.",
        "Set the new mixture by the refractometer for the coldest weather the car will see.",
        "from memory: a third of ethylene glycol in water freezes at about −18 °C",
    ),
    "cloudy": Sign(
        "cloudy", "worn", "Something is mixed in.", "Let a glass of it stand and look at what settles.", PRACTICE
    ),
    "opaque": Sign("opaque", "worn", "Dirt or rust is held in it.", "Flush until it runs clear.", PRACTICE),
    "mixed": Sign(
        "another color than the new one",
        "worn",
        "Another coolant may have been filled; a color by itself names no kind.",
        "Flush, so that two kinds do not mix.",
        PRACTICE,
    ),
    "brown": Sign(
        "brown", "worn", "Old, or with the first rust in it.", "Flush until it runs clear, and look for rust.", PRACTICE
    ),
    "faded": Sign("faded", "serviceable", "The dye fades with age.", "Change it when it is due.", PRACTICE),
    "fresh": Sign("clear, like fresh", "fresh", "Nothing speaks against it.", "Nothing to do.", PRACTICE),
}

BRAKE_SIGNS: Final[dict[str, Sign]] = {
    "layers": Sign(
        "in layers, or milky",
        "contaminated",
        "Another fluid is in it. Mineral oil swells the rubber parts, and the brakes fail.",
        "Do not drive. Tell the customer before filling: rubber parts that were in touch with it are replaced.",
        PRACTICE,
        stops=True,
    ),
    "other kind": Sign(
        "purple or green",
        "contaminated",
        "A fluid of another kind may have been filled: silicone is purple, mineral oil green.",
        "Do not drive until it is known which fluid it is; tell the customer before filling.",
        FMVSS_COLORS,
        stops=True,
    ),
    "rust": Sign(
        "rust",
        "spent",
        "Water has stood in it: cylinders, calipers or lines rust inside.",
        "Tell the customer before filling: cylinders, calipers and lines are to be looked at.",
        PRACTICE,
        stops=True,
    ),
    "specks": Sign(
        "dark specks",
        "worn",
        "Rubber may be breaking up in a cylinder or a hose.",
        "Bleed until it runs clean; look at the hoses and for a weeping cylinder.",
        PRACTICE,
    ),
    "wet": Sign(
        "3 % of water or more",
        "spent",
        "It boils far too early: in a long descent the pedal can go to the floor.",
        "Change all of it, every wheel, now.",
        PRACTICE,
    ),
    "damp": Sign(
        "2 % of water or more", "worn", "It boils earlier than it should.", "Change it at this visit.", PRACTICE
    ),
    "boils early": Sign(
        "boils below the wet minimum of its grade",
        "spent",
        "It boils too early: in a long descent the pedal can go to the floor.",
        "Change all of it, every wheel, now.",
        FMVSS,
    ),
    "boils lower": Sign(
        "boils below the dry minimum of its grade",
        "serviceable",
        "It has taken up some water, as it does in use.",
        "Change it when it is due.",
        FMVSS,
    ),
    "cloudy": Sign(
        "cloudy", "worn", "Water, air or another fluid is in it.", "Test it for water, and change it.", PRACTICE
    ),
    "opaque": Sign("opaque", "worn", "Solids are held in it.", "Bleed until it runs clean.", PRACTICE),
    "dark": Sign(
        "darker than fresh",
        "serviceable",
        "It may change color in use or storage without losing its performance.",
        "Test it for water; change it when it is due.",
        NHTSA,
    ),
    "fresh": Sign("clear, like fresh", "fresh", "Nothing speaks against it.", "Nothing to do.", NHTSA),
}
