"""What a procedure file says: its schema by example, and the same as frozen dataclasses. Pure: no Django here."""

from dataclasses import dataclass, field
from decimal import Decimal

#: The whole schema, by example; what is marked optional may be left out, any field that is not here is an error.
SCHEMA = """\
procedure: Transfer case fluid, change    # its title; a second file with it is a new revision
component: Transfer case
summary: Drain, refill, check the plugs.  # optional
hours: 1.2                                # labor hours
capacity: 0.95 L                          # optional; volumes in any unit of volume
drains: 0.82 L                            # optional; what comes out at a change
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
    reading:
      name: amount in
      unit: L                               # of the figures below
      target: 0.85
      from: 0.80
      to: 0.90
      outside: reason                       # a reading outside: reason (needs one) or refuse
  - title: Drive a short way and look again
    needs: [filling]                      # earlier steps that must be done before this one
"""

KINDS = ("do", "check", "measure", "drain", "fill", "tighten", "inspect", "photo", "sample")
OUTSIDE = ("reason", "refuse")


@dataclass(frozen=True)
class Amount:
    """A quantity in its base unit (L, or each) with the text it was written as."""

    value: Decimal
    typed: str
    base: str


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
    """What is read at a step: the figures are in `unit`, a code of units.py."""

    name: str
    unit: str
    target: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    outside: str = "reason"


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
    specification: str = ""
    source: str = ""
    every_distance: int | None = None
    distance_unit: str = "mi"
    every_months: int | None = None
    tools: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    applies_to: tuple[Vehicles, ...] = ()
    needs: tuple[Need, ...] = ()
