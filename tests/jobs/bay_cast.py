"""What the bay's tests stand on, made by the program's own verbs: a car, fluid on the shelf, a procedure, a job."""

import datetime as dt
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, TypeVar

from garage.actions.customers import save_customer
from garage.actions.vehicles import save_vehicle
from garage.asking import answer_to
from garage.clock import Clock, fixed
from garage.errors import Questions
from garage.models import User, Vehicle
from jobs.actions.final_look import take_final_look
from jobs.actions.finishing import finish_job
from jobs.actions.intake import Odometer, open_job
from jobs.actions.procedures import publish
from jobs.actions.stages import start_job
from jobs.actions.steps import act
from jobs.actions.writing_up import add_operation
from jobs.models import Component, Job, JobStep, Operation, ProcedureRevision, StepEvent
from jobs.procedure_files import parse
from parts.actions.items import save_item
from parts.actions.receiving import opening_stock
from parts.models import Item
from tests.decided import decide

Made = TypeVar("Made")

PROCEDURE = """
procedure: Transfer case fluid, change
component: Transfer case
summary: Drain, look, refill.
hours: 1.2
capacity: 0.95 L
drains: 0.82 L
specification: TC-75
repeat:
  distance: 30000 mi
  months: 36
tools: [10 mm hex, 1/4 in torque wrench]
cautions: [Hot fluid burns. Let it cool.]
applies to:
  - make: Brannock
    model: Fell 2.4
needs:
  - name: fluid
    item: TC-75
    quantity: 0.85 L
  - name: washer
    item: W-10
    quantity: 2
    one time: yes
steps:
  - kind: check
    title: Fill plug opens freely
    hold point: yes
  - kind: drain
    title: Drain the fluid
    caution: Stand aside from the stream.
  - kind: sample
    title: Look at the drained fluid
  - kind: tighten
    title: Tighten the drain plug
    tool: 10 mm hex
    threads: clean and dry
    uses: washer
    reading: {name: torque, unit: ft lb, target: 13, from: 12, to: 14, outside: refuse}
  - kind: check
    title: Vehicle level on its wheels
    hold point: yes
  - kind: fill
    title: Fill to the edge
    uses: fluid
    reading: {name: filled in, unit: L, target: 0.85, from: 0.6, to: 1, outside: reason}
  - kind: tighten
    title: Tighten the fill plug
    uses: washer
    reading: {name: torque, unit: ft lb, target: 13, from: 12, to: 14, outside: reason}
"""

#: The same without anything that cannot be skipped.
UNGUARDED = PROCEDURE.replace("    hold point: yes\n", "").replace("outside: refuse", "outside: reason")

SAMPLE: dict[str, Any] = {"color": "brown", "clarity": "clear", "particles": "paste", "smell": "usual"}


@dataclass
class Bay:
    """A job in the bay with one authorized operation, and how to act on its steps by their number."""

    job: Job
    operation: Operation
    fluid: Item
    washer: Item
    vehicle: Vehicle
    technician: User
    now: dt.datetime

    @property
    def revision(self) -> ProcedureRevision:
        assert self.operation.revision is not None
        return self.operation.revision

    @property
    def component(self) -> Component:
        assert self.operation.component is not None
        return self.operation.component

    def step(self, number: int) -> JobStep:
        return self.operation.steps.get(position=number)

    def do(
        self, number: int, kind: str = "tick", *, event: uuid.UUID | None = None, base: int | None = None, **data: Any
    ) -> StepEvent:
        step = self.step(number)
        return act(
            event_id=event or uuid.uuid4(),
            step=step,
            kind=kind,
            base_version=step.version if base is None else base,
            data=data,
            actor=self.technician,
            clock=fixed(self.now),
        )

    def do_all(self) -> None:
        self.do(1)
        self.do(2, reading="0.82")
        self.do(3, **SAMPLE)
        self.do(4, reading="13")
        self.do(5)
        self.do(6, reading="0.85")
        self.do(7, reading="13")

    def on_hand(self, item: Item) -> Decimal:
        return Item.objects.get(pk=item.pk).on_hand


def stock_item(name: str, number: str, unit: str, packs: int, size: str, actor: User, now: dt.datetime) -> Item:
    """An item with so many packs on the shelf."""
    kind = "fluid" if unit == "L" else "part"
    item = save_item(
        actor=actor,
        clock=fixed(now),
        fields={"kind": kind, "name": name, "base_unit": unit, "price": Decimal("61.20")},
        numbers=[("own", number)],
        packs=[(f"{size} {unit}", Decimal(size), f"{size} {unit}", "")],
    )
    pack = item.packs.get()
    opening_stock(
        key=uuid.uuid4(), item=item, pack=pack, packs=packs, unit_cost=Decimal("36"), actor=actor, clock=fixed(now)
    )
    return Item.objects.get(pk=item.pk)


def car(owner: User, now: dt.datetime, plate: str = "KET-118") -> Vehicle:
    """A car and the customer who owns it."""
    customer = save_customer(
        actor=owner, clock=fixed(now), fields={"name": "Odile Marrant"}, phones=[("555-0101", "")], emails=[]
    )
    fields = {"make": "Brannock", "model": "Fell 2.4", "year": 2016, "plate": plate}
    return save_vehicle(actor=owner, clock=fixed(now), fields=fields, owner=customer)


def written_up(
    vehicle: Vehicle, revision: ProcedureRevision, owner: User, now: dt.datetime, odometer: int
) -> Operation:
    """A new job on a car with one operation from a procedure, not authorized yet."""
    assert vehicle.owner is not None
    job = open_job(
        key=uuid.uuid4(),
        customer=vehicle.owner,
        vehicle=vehicle,
        concern="Whines when cold",
        odometer=Odometer(odometer, "mi"),
        actor=owner,
        clock=fixed(now),
    )
    return add_operation(job=job, title=revision.procedure.title, revision=revision, actor=owner, clock=fixed(now))


def in_bay(people: dict[str, User], now: dt.datetime, procedure: str = PROCEDURE, bottles: int = 3) -> Bay:
    """A car in the bay, its transfer case fluid change authorized."""
    owner, technician = people["owner"], people["technician"]
    fluid = stock_item("Transfer case fluid", "TC-75", "L", bottles, "1", owner, now)
    washer = stock_item("Sealing washer", "W-10", "each", 1, "10", owner, now)
    revision = publish(written=parse(procedure), actor=owner, clock=fixed(now))
    vehicle = car(owner, now)
    operation = written_up(vehicle, revision, owner, now, 88410)
    decide(operation=operation, decision="authorized", actor=owner, now=now)
    start_job(job=operation.job, technician=technician, actor=technician, clock=fixed(now))
    return Bay(operation.job, operation, fluid, washer, vehicle, technician, now)


def sure(verb: Callable[..., Made], **given: Any) -> Made:
    """Do an act, and say that it is right if the verb asks."""
    try:
        return verb(**given)
    except Questions as asked:
        return verb(**given, as_it_is=answer_to(asked.questions))


def look_and_finish(*, job: Job, odometer_out: Odometer | None, actor: User | None, clock: Clock) -> Job:
    """Take the final look and finish the job, as the page does."""
    take_final_look(job=job, actor=actor, clock=clock)
    return finish_job(job=job, odometer_out=odometer_out, actor=actor, clock=clock)


def outcome(event: StepEvent) -> str:
    return str(event.result["outcome"])
