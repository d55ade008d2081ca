"""What a procedure file says: its schema by example, and the same as frozen dataclasses. Pure: no Django here."""

from dataclasses import dataclass, field
from decimal import Decimal

from jobs.fluids import OIL

#: The whole schema, by example; what is marked optional may be left out, any field that is not here is an error.
SCHEMA = """\
procedure: Transfer case fluid, change    # its title; a second file with it is a new revision
component: Transfer case
summary: Drain, refill, check the plugs.  # optional
hours: 1.2                                # labor hours
capacity: 0.95 L                          # optional; volumes in any unit of volume
drains: 0.82 L                            # optional; what comes out at a change
fluid kind: oil                           # optional: oil (also when not said), automatic, coolant, brake fluid;
                                          # a sample step asks what is looked at in that kind
specification: TC-75                      # optional
source: the maker's service data, p. 12   # optional; where the figures come from
repeat:                                   # optional; whichever comes first
  distance: 30000 mi                      # or km
  months: 36
tools: [10 mm hex, torque wrench]         # optional
cautions: [Hot fluid burns. Let it cool.] # optional; shown before the first step
applies to:                               # optional; an empty field fits any vehicle
  - make: Brannock
    model: Fell 2.4
    years: 2012-2019                      # or one year, or 2012- or -2019
    engine: 2.4 diesel
    drivetrain: 4x4
needs:                                    # optional; what is used
  - name: fluid                           # how the steps below call it
    item: TC-75-1L                        # a number or name of the item on the shelf, or
    description: transfer case fluid      # words, when it is not on the shelf
    quantity: 0.85 L                      # in the item's unit: a volume, or a count such as 1
    one time: no                          # yes: always new, such as a sealing washer
steps:
  - kind: fill                            # do check measure drain fill tighten inspect photo sample
    title: Fill to the edge
    name: filling                         # how later steps that need this one call it
    text: Until it runs out of the hole.  # optional, as all that follows
    tool: filling pump
    caution: Wear gloves.
    hold point: yes                       # later steps stay closed until it is confirmed
    uses: fluid                           # drawn from the shelf when the step is done
    substance: yes                        # the service counts as done only with it; where no step says so:
                                          # the fill steps and those that use something, else all
    threads: clean and dry                # what the torque is for
    how: by hand, contact and 3/4 turn    # a tighten step has this, or a reading with its torque, or both
    reading:                              # tighten: a torque; drain, fill and sample: a volume
      name: amount in
      unit: L                               # of the figures below
      target: 0.85
      from: 0.80
      to: 0.90
      outside: reason                       # a reading outside: reason (needs one) or refuse
  - title: Drive a short way and look again
    needs: [filling]                      # earlier steps that must be done before this one
#
# A figure nobody knows yet is written “to be filled in”: capacity, drains, a need's quantity, target, from, to. The
# procedure can be published and read, and goes on no job until its maker's figure stands there.
"""

#: What stands in the place of a figure that nobody has filled in yet.
TO_FILL_IN = "to be filled in"

KINDS = ("do", "check", "measure", "drain", "fill", "tighten", "inspect", "photo", "sample")
OUTSIDE = ("reason", "refuse")


@dataclass(frozen=True)
class Amount:
    """A quantity in its base unit (L, or each) with the text it was written as."""

    value: Decimal
    typed: str
    base: str

    @property
    def known(self) -> bool:
        """Whether it is a figure, and not one still to be filled in."""
        return self.typed != TO_FILL_IN


@dataclass(frozen=True)
class Vehicles:
    """Which vehicles it applies to; empty fits any."""

    make: str = ""
    model: str = ""
    year_from: int | None = None
    year_to: int | None = None
    engine: str = ""
    drivetrain: str = ""


@dataclass(frozen=True)
class Need:
    """What is used: an item by any of its numbers or names, or words."""

    name: str
    quantity: Amount
    item: str = ""
    description: str = ""
    one_time: bool = False
    line: int = field(default=0, compare=False)


@dataclass(frozen=True)
class Measure:
    """What is read at a step: the figures are in `unit`, a code of units.py; some may be still `to_fill_in`."""

    name: str
    unit: str
    target: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    outside: str = "reason"
    to_fill_in: tuple[str, ...] = ()


@dataclass(frozen=True)
class Step:
    """One step as written."""

    kind: str
    title: str
    text: str = ""
    tool: str = ""
    caution: str = ""
    hold_point: bool = False
    uses: str = ""
    threads: str = ""
    how: str = ""
    reading: Measure | None = None
    substance: bool = False
    name: str = ""
    needs: tuple[str, ...] = ()


@dataclass(frozen=True)
class Written:
    """A whole procedure as written in a file."""

    title: str
    component: str
    hours: Decimal
    steps: tuple[Step, ...]
    summary: str = ""
    capacity: Amount | None = None
    drain: Amount | None = None
    fluid_kind: str = OIL
    specification: str = ""
    source: str = ""
    every_distance: int | None = None
    distance_unit: str = "mi"
    every_months: int | None = None
    tools: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    applies_to: tuple[Vehicles, ...] = ()
    needs: tuple[Need, ...] = ()

    @property
    def missing(self) -> list[str]:
        """The figures still to be filled in, in words: `capacity`, `torque at “Tighten the drain plug”`."""
        amounts = {"capacity": self.capacity, "drains": self.drain}
        amounts |= {f"quantity of {need.name}": need.quantity for need in self.needs}
        names = [name for name, amount in amounts.items() if amount and not amount.known]
        for step in self.steps:
            if step.reading and step.reading.to_fill_in:
                names.append(f"{step.reading.name} at “{step.title}” ({', '.join(step.reading.to_fill_in)})")
        return names
