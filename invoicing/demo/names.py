"""Names the story calls things by: cars by their plates, procedures by their titles, fluids by their looks."""

import random
from collections.abc import Mapping

from invoicing.demo.cast import COMPANIES, PEOPLE

CARS = {car.plate: car for person in (*COMPANIES, *PEOPLE) for car in person.cars}

TRANSFER, REPEATED = "Transfer case fluid, drain and fill", "Transfer case fluid, repeated exchange"
CHAIN_CASE, AXLE = "Transfer case fluid, chain-driven case", "Rear axle fluid, limited-slip"
OIL, SMALL_OIL = "Engine oil and filter, 2.0 to 2.5 gasoline", "Engine oil and filter, 1.6 and 1.8 gasoline"
PICKUP_OIL, VAN_OIL = "Engine oil and filter, 3.0 diesel", "Engine oil and filter, 2.2 diesel"
PADS_FRONT, PADS_REAR, BRAKE_FLUID = "Front brake pads, car", "Rear brake pads, car", "Brake fluid, change"
FRONT_DIFF, REAR_DIFF = "Front differential fluid", "Rear differential fluid"
AUTOMATIC, COOLANT = "Automatic transmission fluid, drain and fill", "Coolant, drain and fill"

#: What was seen of a fluid: the words of the sample form.
Look = Mapping[str, str]


def _oil(color: str, clarity: str = "clear", particles: str = "paste", smell: str = "usual") -> Look:
    return {"color": color, "clarity": clarity, "particles": particles, "smell": smell}


SPENT, WORN = _oil("black", "opaque", "glitter", "burnt"), _oil("dark brown", "cloudy")
DARK, BROWN, AMBER = _oil("dark brown"), _oil("brown"), _oil("amber")
FADED: Look = {
    "color": "faded", "clarity": "clear", "particles": "none", "smell": "usual", "freeze_point": "−31 °F",
}  # fmt: skip
WEAK: Look = {**FADED, "clarity": "cloudy", "freeze_point": "4 °F"}
DAMP: Look = {"color": "amber", "clarity": "clear", "particles": "none", "water": "2.3"}
WET: Look = {"color": "dark brown", "clarity": "clear", "particles": "none", "water": "3.4"}

#: How the fluid of an ordinary visit looks, and how often of a hundred.
_OILS = ((_oil("a little darker", particles="none"), 20), (AMBER, 27), (BROWN, 27), (DARK, 20), (WORN, 6))
_COOLANTS = (({**FADED, "color": "as fresh", "freeze_point": "−34 °F"}, 40), (FADED, 50), (WEAK, 10))
_BRAKES = (({**DAMP, "water": "1.6"}, 40), (DAMP, 40), (WET, 20))
_OTHER = {"Cooling system": _COOLANTS, "Brakes": _BRAKES, "Engine": (), "Front brakes": (), "Rear brakes": ()}


def look_of(component: str, dice: random.Random) -> Look | None:
    """How a component's fluid looks on an ordinary visit; None where nobody takes a sample."""
    known = _OTHER.get(component, _OILS)
    return dice.choices([look for look, _ in known], [often for _, often in known])[0] if known else None
