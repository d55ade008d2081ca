"""Three years of ordinary visits: what each car needs as its miles and months go by, and what turns up besides."""

import datetime as dt
import random
from collections.abc import Iterator
from dataclasses import dataclass, field

from garage.models import Vehicle
from invoicing.demo.cast import MODELS, Car, Person
from invoicing.demo.findings import FINDINGS, Finding
from invoicing.demo.garage import MONTHS, Garage
from invoicing.demo.names import look_of
from invoicing.demo.visits import Noticed, Visit, Work
from jobs.actions.evidence import Limit
from jobs.models import ProcedureRevision
from jobs.queries_procedures import fitting

ENGINE = "Engine"
OIL_MILES, OIL_DAYS = 10000, 365
PADS_EVERY = {"Front brakes": 42000, "Rear brakes": 56000}  #: worn down after so many miles; no procedure says when
RIPE = 0.85  #: what has come so far through its interval is done at this visit
DAYS_A_MONTH = 30.44
HEAVY_PADS = Work(
    title="Front brake pads, pickup and van", hours="1.4", parts=(("BP-52", "1"), ("BC-5", "1")),
    correction="Pads new, slides greased, rotors within limits, pedal pumped, lug nuts torqued, pads bedded in.",
)  # fmt: skip
SMALL = (
    Work(title="Wiper blades", hours="0.2", parts=(("WB-24", "2"),), correction="Both front blades new."),
    Work(title="Low-beam bulb, left", hours="0.3", parts=(("LB-55", "1"),), correction="Bulb new, beam set."),
    Work(title="Cabin filter", hours="0.3", parts=(("CF-7", "1"),), correction="Filter new, housing vacuumed."),
    Work(title="Air filter", hours="0.2", parts=(("AF-21", "1"),), correction="Filter new."),
    Work(title="Wheel alignment", hours="0.2", sublet=("Thornby Alignment", "94.00"),
         correction="Set by Thornby Alignment, sheet in the car."),
    Work(title="Rotate tires", hours="0.5", correction="Front to rear, lug nuts torqued crosswise, pressures set."),
    Work(title="Find why the engine light is on", hours="1.0", cause="Connector of the air-flow sensor was loose.",
         correction="Connector seated, memory cleared, road test without fault."),
    Work(title="Rattle underneath", hours="0.4", cause="Heat shield lost a screw.", correction="Screw and washer new."),
    Work(title="Washer fluid and a look over", hours="0.2", parts=(("WF-1", "3.785411784"),), correction="Filled."),
)  # fmt: skip
CONCERNS = (
    "Oil change reminder came on. Please look it over.",
    "Service is due, says the sticker.",
    "Going on a long trip, should be checked.",
    "Whatever is due. Call if it is more than that.",
    "Oil change, and whatever else is due.",
    "Yearly service.",
)
PAYS = (("card", 0),) * 6 + (("cash", 0),) * 2 + (("check", 0), ("transfer", 6))


#: Cars of the story have no ordinary visit in so many days before the end (None: none at all).
QUIET: dict[str, int | None] = {
    "KET-118": None, "ASH-201": None, "LFW-001": 130, "REN-440": 120, "THW-155": 140, "PRV-147": 100, "VAL-690": 170,
    "FIO-246": 130, "HOL-403": 205, "YUK-905": 200, "FRE-720": 400,
}  # fmt: skip
#: So many days before the end the story changes a car's oil: no ordinary visit comes after it or shortly before.
OILED = {
    "SAM-803": 22, "HAG-020": 250, "TAX-012": 48, "IDV-574": 130, "PDP-118": 44, "LUF-330": 1, "DEL-356": 9,
    "OSC-021": 118, "CAS-655": 38,
}  # fmt: skip
#: What the story serves, and ordinary visits leave alone.
LEAVE: dict[str, set[str]] = {
    "LFW-001": {"Transfer case", "Rear differential"}, "REN-440": {"Automatic transmission"},
    "PRV-147": {"Cooling system"}, "VAL-690": {"Brakes", "Front brakes", "Rear brakes"}, "FIO-246": {"Front brakes"},
    "SAM-803": {"Rear brakes"}, "IDV-574": {"Cooling system"}, "PDP-118": {"Rear differential"},
    "LUF-330": {"Rear differential"}, "DEL-356": {"Automatic transmission", "Front brakes"},
}  # fmt: skip


def works_for(vehicle: Vehicle) -> dict[str, str]:
    """The title of the procedure that fits a vehicle best, by component."""
    best: dict[str, str] = {}
    for procedure, _score in fitting(vehicle):
        best.setdefault(procedure.component.name, procedure.title)
    return best


def odometer(car: Car, days_ago: float) -> int:
    """What a car's odometer showed so many days ago."""
    start = random.Random(f"{car.plate} odometer").randint(200, 4000)
    return start + max(0, int(car.miles * (car.age - days_ago / 365)))


def visits(garage: Garage, person: Person, car: Car, *, fits: dict[str, str]) -> Iterator[Visit]:
    """The ordinary visits of a car, oldest first, around what the story does with it."""
    quiet, oiled = QUIET.get(car.plate, 2), OILED.get(car.plate)
    if quiet is None:
        return
    dice = random.Random(f"{car.plate} visits")
    apart = min(OIL_DAYS, OIL_DAYS * OIL_MILES // car.miles)
    days = _days(dice, apart, since=(MONTHS - person.since) * 30 - 3, quiet=quiet, oiled=oiled)
    if not days:
        return
    left = LEAVE.get(car.plate, set())
    here = {component: title for component, title in fits.items() if component not in left}
    upkeep = Upkeep(garage, car, here, dice, days[0])
    for days_ago, next_days_ago in zip(days, [*days[1:], None if oiled is not None else 0], strict=True):
        yield from upkeep.visits(person, days_ago, next_days_ago)


def _days(dice: random.Random, apart: int, *, since: int, quiet: int, oiled: int | None) -> list[int]:
    """How many days ago the ordinary visits were, the first one first, an oil interval apart."""

    def interval() -> int:
        return int(apart * dice.uniform(0.88, 1.08))

    last = oiled + interval() if oiled is not None else quiet + dice.randint(0, apart * 2 // 3)
    days: list[int] = []
    while last <= since:
        days.insert(0, last)
        last += interval()
    return days


@dataclass
class Upkeep:
    """What was last done on a car, by component: at how many miles, and how many days ago that was."""

    garage: Garage
    car: Car
    fits: dict[str, str]
    dice: random.Random
    first: int
    done: dict[str, tuple[float, int]] = field(default_factory=dict)
    known: set[str] = field(default_factory=set)
    small: list[Work] = field(default_factory=list)
    found: list[Finding] = field(default_factory=list)
    offered: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        """Invent where each service stood when the car first came: somebody else had done it, or nobody yet."""
        self.small = self.dice.sample(SMALL, len(SMALL))
        for component in self._components():
            every, months = self._interval(component)
            days = min(every / self.car.miles * 365, months * DAYS_A_MONTH) * self.dice.uniform(0.1, 1.0)
            miles = odometer(self.car, self.first + days)
            new = days > self.car.age * 365 - self.first
            self.done[component] = (self.first + days, 0 if new else miles)

    def visits(self, person: Person, days_ago: int, next_days_ago: int | None) -> Iterator[Visit]:
        """The visit of that day, and one more where something was found that cannot wait for the next.

        Nothing is found where the next visit is the story's (None), which does not know of it.
        """
        now = odometer(self.car, days_ago)
        works = [*self._due(days_ago, now), *(finding.work for finding in self.found)]
        self.found = []
        if self.small and (not works or self.dice.random() < 0.25):
            works.append(self.small.pop())
        finding = None if next_days_ago is None else self._find(days_ago - next_days_ago)
        noticed = (_noticed(finding, now),) if finding else ()
        if finding and not finding.soon:
            self.found.append(finding)
        yield self._visit(person, days_ago, self.dice.choice(CONCERNS), works, noticed)
        if finding and finding.soon:
            back = days_ago - self.dice.randint(6, 12)
            yield self._visit(person, back, f"Back for what was found: {finding.text.lower()}.", [finding.work], ())

    def _components(self) -> list[str]:
        heavy = {"Front brakes"} if MODELS[self.car.model].carries else set()
        return sorted({*self.fits, *heavy})

    def _interval(self, component: str) -> tuple[float, float]:
        """Miles and months after which a component is due."""
        if component in PADS_EVERY:
            return PADS_EVERY[component], 240
        revision: ProcedureRevision = self.garage.revisions[self.fits[component]]
        return revision.every_distance or 10**6, revision.every_months or 240

    def _due(self, days_ago: int, now: int) -> list[Work]:
        """What its miles or its months have made due, the engine first."""
        works = []
        for component in sorted(self._components(), key=lambda name: (name != ENGINE, name)):
            every, months = self._interval(component)
            last_day, last_miles = self.done[component]
            came = max((now - last_miles) / every, (last_day - days_ago) / (months * DAYS_A_MONTH))
            if came < (RIPE if component != ENGINE else 0.6):
                continue
            works.append(self._work(component, now - last_miles))
            self.done[component] = (days_ago, now)
            self.known.add(component)
        return works

    def _work(self, component: str, distance: int) -> Work:
        if component not in self.fits:
            return HEAVY_PADS
        look = look_of(component, self.dice)
        return Work(
            procedure=self.fits[component],
            looks=(look,) if look else (),
            distance=None if component in self.known else distance,
        )

    def _find(self, days: int) -> Finding | None:
        """Something that will need work later, at times; what cannot wait only where there are days to come back."""
        if self.dice.random() > 0.18:
            return None
        left = [row for row in FINDINGS if row.text not in self.offered]
        finding = self.dice.choice(left)
        if finding.soon and days < 40:
            return None
        self.offered.add(finding.text)
        self.small = [work for work in self.small if work.title != finding.work.title]
        return finding

    def _visit(
        self, person: Person, days_ago: int, concern: str, works: list[Work], noticed: tuple[Noticed, ...]
    ) -> Visit:
        return Visit(
            plate=self.car.plate,
            opened=self.garage.at(days_ago, 7, 30) + dt.timedelta(minutes=self.dice.randint(0, 150)),
            odometer=odometer(self.car, days_ago),
            concern=concern if len(works) != 1 or works[0].procedure else works[0].concern or works[0].title,
            works=tuple(works),
            noticed=noticed,
            pays=("transfer", self.dice.randint(9, 34)) if person.payment_days else self.dice.choice(PAYS),
            by="owner" if self.dice.random() < 0.25 else "technician",
        )


def _noticed(finding: Finding, now: int) -> Noticed:
    limit = Limit("distance", odometer=now + finding.within) if finding.within else Limit("next")
    return Noticed(finding.text, limit)
