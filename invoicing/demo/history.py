"""Three years of ordinary visits: what each car needs as its miles go by, and what turns up besides."""

import datetime as dt
import random
from collections.abc import Iterator

from garage.models import Vehicle
from invoicing.demo.cast import MODELS, Car, Person
from invoicing.demo.garage import MONTHS, Garage
from invoicing.demo.visits import Noticed, Visit, Work
from jobs.actions.evidence import Limit
from jobs.queries_procedures import fitting
from jobs.verdict import Seen

#: A component's work comes round after so many miles.
EVERY_MILES = {
    "Transfer case": 30000,
    "Front differential": 30000,
    "Rear differential": 28000,
    "Automatic transmission": 42000,
    "Cooling system": 60000,
    "Front brakes": 42000,
    "Rear brakes": 55000,
}
BRAKE_FLUID_EVERY = 730  # days

SMALL = (
    Work(title="Wiper blades", hours="0.2", parts=(("WB-24", "2"),), correction="Both front blades new."),
    Work(title="Low-beam bulb, left", hours="0.3", parts=(("LB-55", "1"),), correction="Bulb new, beam set."),
    Work(title="Battery", hours="0.4", parts=(("BT-70", "1"),), cause="Old one fails under load.",
         correction="Battery new, terminals cleaned, charging voltage in order."),
    Work(title="Cabin filter", hours="0.3", parts=(("CF-7", "1"),), correction="Filter new, housing vacuumed."),
    Work(title="Air filter", hours="0.2", parts=(("AF-21", "1"),), correction="Filter new."),
    Work(title="Serpentine belt", hours="0.8", parts=(("SB-10", "1"),), cause="Cracked across the ribs.",
         correction="Belt new, tensioner runs freely."),
    Work(title="Wheel alignment", hours="0.2", sublet=("Thornby Alignment", "94.00"),
         correction="Set by Thornby Alignment, sheet in the car."),
    Work(title="Rotate tires", hours="0.5", correction="Front to rear, torque checked, pressures set."),
    Work(title="Find why the engine light is on", hours="1.0", cause="Plug of the air-flow sensor was loose.",
         correction="Plug seated, memory cleared, road test without fault."),
    Work(title="Rattle underneath", hours="0.4", cause="Heat shield lost a screw.", correction="Screw and washer new."),
    Work(title="Washer fluid and a look over", hours="0.2", parts=(("WF-1", "3.785411784"),), correction="Filled."),
)  # fmt: skip
HEAVY_PADS = Work(
    title="Front brake pads, pickup and van", hours="1.4", parts=(("BP-52", "1"), ("BC-5", "1")),
    correction="Pads new, slides cleaned and greased, rotors within limits, pedal pumped, bedded in.",
)  # fmt: skip
CONCERNS = (
    "Oil light reminder came on. Please look it over.",
    "Service is due, says the sticker.",
    "Going on a long trip, should be checked.",
    "Whatever is due. Call if it is more than that.",
    "A bit of a whine on the highway, and service.",
    "Yearly service.",
)
ADVISORIES = (
    "Front control arm bushing cracking",
    "Rear tires at 4 mm",
    "Drive belt begins to crack",
    "Slight sweat at the valve cover",
    "Front rotors near their minimum",
    "Muffler hanger torn",
    "Left outer tie rod has a little play",
)
ORDINARY = (
    Seen("a little darker", "clear", "none", "usual"),
    Seen("amber", "clear", "paste", "usual"),
    Seen("brown", "clear", "paste", "usual"),
    Seen("brown", "clear", "none", "usual"),
    Seen("dark brown", "cloudy", "paste", "usual"),
    Seen("black", "opaque", "paste", "usual"),
)
PAYS = (("card", 0),) * 6 + (("cash", 0),) * 2 + (("check", 0), ("transfer", 6))


def works_for(vehicle: Vehicle) -> dict[str, str]:
    """The title of the procedure that fits a vehicle best, by component."""
    best: dict[str, str] = {}
    for procedure, _score in fitting(vehicle):
        best.setdefault(procedure.component.name, procedure.title)
    return best


def visits(garage: Garage, person: Person, car: Car, *, quiet: int | None, fits: dict[str, str]) -> Iterator[Visit]:
    """The ordinary visits of a car, oldest first; none in the last `quiet` days, None: none at all."""
    if quiet is None:
        return
    dice = random.Random(f"{car.plate} visits")
    first = (MONTHS - person.since) * 30 - 3
    apart = min(500, max(170, 365 * 15000 // car.miles))
    days_ago, before = first - dice.randint(0, apart), odometer(car, first + apart)
    while days_ago > quiet:
        reached = odometer(car, days_ago)
        yield _visit(garage, person, car, fits, dice, days_ago, before, reached, apart)
        before = reached
        days_ago -= int(apart * dice.uniform(0.8, 1.25))


def odometer(car: Car, days_ago: float) -> int:
    """What a car's odometer showed so many days ago."""
    start = random.Random(f"{car.plate} odometer").randint(200, 4000)
    return start + max(0, int(car.miles * (car.age - days_ago / 365)))


def _visit(
    garage: Garage,
    person: Person,
    car: Car,
    fits: dict[str, str],
    dice: random.Random,
    days_ago: int,
    before: int,
    reached: int,
    apart: int,
) -> Visit:
    works = _works(car, fits, dice, days_ago, before, reached, apart)
    opened = garage.at(days_ago, 7, 30) + dt.timedelta(minutes=dice.randint(0, 260))
    return Visit(
        plate=car.plate,
        opened=opened,
        odometer=reached,
        concern=dice.choice(CONCERNS) if len(works) != 1 or works[0].procedure else works[0].title,
        works=tuple(works),
        noticed=_noticed(dice, reached),
        pays=("transfer", dice.randint(9, 34)) if person.payment_days else dice.choice(PAYS),
        by="owner" if dice.random() < 0.25 else "technician",
    )


def _works(
    car: Car, fits: dict[str, str], dice: random.Random, days_ago: int, before: int, reached: int, apart: int
) -> list[Work]:
    """What the miles since the last visit have made due, and now and then something small."""
    works = [Work(procedure=fits["Engine"])] if "Engine" in fits and dice.random() < 0.85 else []
    offset = random.Random(f"{car.plate} rhythm").randint(0, 30000)
    for component, every in EVERY_MILES.items():
        if (before + offset) // every < (reached + offset) // every and component in fits and dice.random() < 0.75:
            seen = dice.choices(ORDINARY, weights=(4, 5, 4, 3, 2, 1))[0]
            works.append(Work(procedure=fits[component], looks=(seen,), distance=min(reached, every)))
    if MODELS[car.model].carries and (before + offset) // 36000 < (reached + offset) // 36000:
        works.append(HEAVY_PADS)
    due = (days_ago + apart + offset) // BRAKE_FLUID_EVERY > (days_ago + offset) // BRAKE_FLUID_EVERY
    if due and dice.random() < 0.7:
        works.append(Work(procedure=fits["Brakes"], looks=(ORDINARY[1],)))
    if not works or dice.random() < 0.25:
        works.append(dice.choice(SMALL))
    return works


def _noticed(dice: random.Random, reached: int) -> tuple[Noticed, ...]:
    if dice.random() > 0.16:
        return ()
    text = dice.choice(ADVISORIES)
    limit = Limit("distance", odometer=round(reached + 8000, -3)) if dice.random() < 0.5 else Limit("next")
    return (Noticed(text, limit),)
