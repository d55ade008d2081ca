"""The garage of the browser tests, made by the program's own verbs: its people, its taxes, its shelf, a procedure."""

import datetime as dt
import uuid
from dataclasses import dataclass
from decimal import Decimal

from django.utils import timezone

from garage.actions.people import add_person
from garage.actions.profile import save_profile
from garage.clock import fixed
from garage.models import Role, User
from invoicing.actions.taxes import set_rate
from jobs.actions.procedures import publish
from jobs.models import Procedure
from jobs.procedure_files import parse
from parts.actions.items import save_item
from parts.actions.receiving import opening_stock
from parts.models import Item

D = Decimal
PASSWORD = "drip-tray-17"
PEOPLE = {"owner": "Ward Ellery", "counter": "Mira Sandoz", "technician": "Tomas Quill", "reader": "Ada Prewitt"}
PROFILE = {
    "name": "Ellery Driveline",
    "address": "12 Tannery Row\nMarlow Falls",
    "phone": "555-0100",
    "email": "desk@example.com",
    "license_number": "R-2041",
    "time_zone": "America/New_York",
    "labor_rate": D("128.00"),
    "warranty_text": "12 months or 12,000 miles on parts and labor.",
}

PROCEDURE = """
procedure: Transfer case fluid, change
component: Transfer case
summary: Drain, look at what came out, refill to the edge.
hours: 1.2
capacity: 0.95 L
drains: 0.82 L
specification: TC-75
source: the maker's service data
repeat: {distance: 30000 mi, months: 36}
tools: [10 mm hex, 1/4 in torque wrench, drain pan of 2 L]
cautions: [Hot fluid burns. Let it cool., Support the raised vehicle before you go under it.]
applies to:
  - {make: Brannock, model: Fell 2.4}
needs:
  - {name: fluid, item: TC-75, quantity: 0.85 L}
  - {name: washers, item: W-10, quantity: 2, one time: yes}
steps:
  - {kind: check, title: Fill plug opens freely, hold point: yes}
  - kind: drain
    title: Drain the fluid
    caution: Stand aside from the stream.
    reading: {name: came out, unit: L}
  - {kind: sample, title: Look at the drained fluid}
  - kind: tighten
    title: Tighten the drain plug
    tool: 10 mm hex
    caution: Threads in aluminum strip past the number.
    threads: clean and dry
    uses: washers
    reading: {name: torque, unit: ft lb, target: 13, from: 12, to: 14, outside: refuse}
  - {kind: check, title: Vehicle level on its wheels, hold point: yes}
  - kind: fill
    title: Fill to the edge
    uses: fluid
    reading: {name: filled in, unit: L, target: 0.85, from: 0.8, to: 0.9, outside: reason}
  - kind: tighten
    title: Tighten the fill plug
    reading: {name: torque, unit: ft lb, target: 13, from: 12, to: 14, outside: refuse}
"""


@dataclass(frozen=True)
class Garage:
    """The garage with what the tests start from."""

    logins: dict[str, str]
    owner: User
    technician: User
    fluid: Item
    washer: Item
    procedure: Procedure


def open_garage() -> Garage:
    """The owner writes down what a garage has before its first car comes in."""
    now = timezone.now()
    people = {
        role: add_person(username=role, name=name, role=role, password=PASSWORD, actor=None, clock=fixed(now))
        for role, name in PEOPLE.items()
    }
    owner = people[Role.OWNER]
    save_profile(fields=PROFILE, actor=owner, clock=fixed(now))
    for tax_class, rate in (("parts", "0.0825"), ("labor", "0")):
        set_rate(
            name="Sales tax",
            classes=[tax_class],
            rate=D(rate),
            valid_from=dt.date(2020, 1, 1),
            actor=owner,
            clock=fixed(now),
        )
    washer = on_the_shelf("W-10", "Sealing washer 10 mm", "each", D("0.80"), D("2.50"), packs=100)
    fluid, procedure = fluid_change("Transfer case", "TC-75", packs=40)
    logins = {role: person.username for role, person in people.items()}
    return Garage(logins, owner, people[Role.TECHNICIAN], fluid, washer, procedure)


def fluid_change(component: str, number: str, *, packs: int, left_open: str = "") -> tuple[Item, Procedure]:
    """A fluid with so many bottles, and what is left in an open one; and the procedure that changes it."""
    fluid = on_the_shelf(
        number, f"{component} fluid {number}", "L", D("36"), D("61.20"), packs=packs, left_open=left_open
    )
    written = PROCEDURE.replace("Transfer case", component).replace("TC-75", number)
    owner = User.objects.get(role=Role.OWNER)
    return fluid, publish(written=parse(written), actor=owner, clock=timezone.now).procedure


def on_the_shelf(
    number: str, name: str, unit: str, cost: Decimal, price: Decimal, *, packs: int, left_open: str = ""
) -> Item:
    """An item in packs of one, at what a unit cost and what it is sold for, in a place of the shelf."""
    now, actor = timezone.now(), User.objects.get(role=Role.OWNER)
    item = save_item(
        fields={
            "kind": "fluid" if unit == "L" else "part",
            "name": name,
            "base_unit": unit,
            "price": price,
            "location": "S2",
            "minimum": D(2),
            "wanted": D(6),
        },
        numbers=[("own", number)],
        packs=[("1 L bottle" if unit == "L" else "single", D(1), f"1 {unit}", "")],
        actor=actor,
        clock=fixed(now),
    )
    opening_stock(
        key=uuid.uuid4(),
        item=item,
        pack=item.packs.get(),
        packs=packs,
        unit_cost=cost,
        opened_content=D(left_open) if left_open else None,
        actor=actor,
        clock=fixed(now),
    )
    return Item.objects.get(pk=item.pk)
