"""What the counter's tests stand on, made by the program's own verbs: a job with one operation, things on the shelf."""

import datetime as dt
import uuid
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from garage.clock import fixed
from garage.models import User, Vehicle
from jobs.actions.evidence import Limit, note_advisory
from jobs.actions.intake import open_job
from jobs.actions.procedures import publish
from jobs.actions.writing_up import add_operation, save_line
from jobs.models import Advisory, Job, Line, Operation, ProcedureRevision
from jobs.procedure_files import parse
from parts.models import Item
from tests.jobs.bay_cast import PROCEDURE, car, stock_item

HTMX = {"HX-Request": "true"}

#: A line of each kind, as the verb takes it.
LABOR = {
    "kind": "labor", "unit": "h", "description": "Labor", "quantity": Decimal("1.4"), "typed": "1.4 h",
    "unit_price": Decimal("128"), "tax_class": "labor",
}  # fmt: skip
PART = {
    "kind": "part", "unit": "each", "description": "Pad set, rear", "quantity": Decimal(1), "typed": "1",
    "unit_price": Decimal("74.90"), "tax_class": "parts", "condition": "new",
}  # fmt: skip
FLUID = {
    "kind": "fluid", "unit": "L", "description": "Transfer fluid", "quantity": Decimal("1.7"), "typed": "1.7 L",
    "unit_price": Decimal("61.20"), "tax_class": "parts", "condition": "new",
}  # fmt: skip


@dataclass
class Counter:
    """A car at the counter and how its work is written up."""

    job: Job
    vehicle: Vehicle
    actor: User
    now: dt.datetime

    def operation(self, title: str = "Rear brake pads", **more: object) -> Operation:
        return add_operation(job=self.job, title=title, actor=self.actor, clock=fixed(self.now), **more)  # type: ignore[arg-type]

    def line(self, operation: Operation, fields: dict[str, object] | None = None, **changes: object) -> Line:
        given = {**(fields or PART), **changes}
        return save_line(operation=operation, fields=given, actor=self.actor, clock=fixed(self.now))

    def advisory(self, text: str) -> Advisory:
        limit = Limit("next")
        key = uuid.uuid4()
        return note_advisory(key=key, job=self.job, text=text, limit=limit, actor=self.actor, clock=fixed(self.now))


def at_counter(people: dict[str, User], now: dt.datetime, plate: str = "KET-118") -> Counter:
    """A car taken in, nothing written up yet."""
    actor = people["counter"]
    vehicle = car(actor, now, plate)
    return Counter(opened(vehicle, actor, now), vehicle, actor, now)


def opened(vehicle: Vehicle, actor: User, now: dt.datetime, concern: str = "Squeals when braking") -> Job:
    """A visit of a car."""
    assert vehicle.owner is not None
    return open_job(
        key=uuid.uuid4(), customer=vehicle.owner, vehicle=vehicle, concern=concern, actor=actor, clock=fixed(now)
    )


def transfer_fluid_change(actor: User, now: dt.datetime, bottles: int = 3) -> tuple[ProcedureRevision, Item, Item]:
    """The published procedure of a transfer case fluid change, with its fluid and washers on the shelf."""
    fluid = stock_item("Transfer case fluid", "TC-75", "L", bottles, "1", actor, now)
    washer = stock_item("Sealing washer", "W-10", "each", 1, "10", actor, now)
    return publish(written=parse(PROCEDURE), actor=actor, clock=fixed(now)), fluid, washer


def picture(name: str = "scratch.png") -> SimpleUploadedFile:
    """The smallest PNG: one white pixel."""
    data = bytes.fromhex(
        "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de0000000c49444154789c63f8ffff3f0005fe02fe"
        "a735819d0000000049454e44ae426082"
    )
    return SimpleUploadedFile(name, data, content_type="image/png")


def page_of(client: Client, name: str, *args: int, **given: Any) -> str:
    """The page of that name, which must be there."""
    answer = client.get(reverse(name, args=args), **given)
    assert answer.status_code == 200
    return answer.content.decode()
