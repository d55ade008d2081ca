"""A visit as it goes: in at the counter, estimate, authorization, the bay, the invoice, the money."""

import datetime as dt
import random
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from garage.clock import fixed
from garage.models import Customer, TaxClass, User
from invoicing.actions.authorizations import authorize
from invoicing.actions.estimates import write_estimate
from invoicing.actions.invoices import issue
from invoicing.actions.payments import take_payment
from invoicing.demo.bay import work_through
from invoicing.demo.buying import fetch_missing
from invoicing.demo.garage import ZONE, Garage, Script, Timed, at_time
from invoicing.demo.names import Look
from invoicing.models import Authorization, Estimate, Invoice
from jobs.actions.draws import draw_for_line
from jobs.actions.evidence import Limit, note_advisory
from jobs.actions.final_look import take_final_look
from jobs.actions.finishing import finish_job
from jobs.actions.intake import Odometer, change_job, open_job
from jobs.actions.skipped import answer_skipped
from jobs.actions.stages import start_job
from jobs.actions.writing_up import add_operation, edit_operation, kind_of, save_line
from jobs.consents import authorized
from jobs.models import Advisory, DueService, Job, Operation, SkippedAnswer
from parts import queries as shelf

D = Decimal
FIVE = dt.time(17)


@dataclass(frozen=True)
class Work:
    """One operation: by a procedure's title, or free with hours and parts (item number, quantity).

    `bought` are parts fetched for it that the shelf does not know (words, price).

    `instead` is what was done in place of the steps that are skipped, as the invoice says it. `if_needed` is what may
    turn out to be needed, and the most it may cost.
    """

    procedure: str = ""
    title: str = ""
    hours: str = ""
    parts: tuple[tuple[str, str], ...] = ()
    bought: tuple[tuple[str, str], ...] = ()
    sublet: tuple[str, str] | None = None
    if_needed: tuple[tuple[str, str], ...] = ()
    concern: str = ""
    cause: str = ""
    correction: str = ""
    declined: str = ""
    looks: tuple[Look, ...] = ()
    said: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    from_advisory: str = ""
    distance: int | None = None
    instead: str = ""


@dataclass(frozen=True)
class Noticed:
    """Later work seen on the way, with its limit."""

    text: str
    limit: Limit
    component: str = ""


@dataclass(frozen=True)
class Visit:
    """A visit as the demo plans it; `pays` is how, and after how many days (0: when the car is fetched).

    The car is promised for five o'clock of its day where nothing else is said.
    """

    plate: str
    opened: dt.datetime
    odometer: int
    concern: str
    works: tuple[Work, ...]
    noticed: tuple[Noticed, ...] = ()
    pays: tuple[str, int] = ("card", 0)
    lower: tuple[str, int] | None = None
    by: str = "technician"
    promised: dt.datetime | None = None
    mail_to: str = ""

    @property
    def dice(self) -> random.Random:
        """Dice of its own, so that a visit goes the same way whatever else happens that day."""
        return random.Random(f"{self.plate} {self.odometer}")


def carry_out(garage: Garage, visit: Visit) -> Script:
    """A whole visit, from the key on the counter to the money."""
    worker, dice, now = garage.people[visit.by], visit.dice, visit.opened
    yield now
    job = take_in(garage, visit, now)
    now += dt.timedelta(minutes=dice.randint(6, 15))
    yield now
    offered = offer(garage, job, visit.works, now)
    now += dt.timedelta(minutes=dice.randint(2, 40))
    yield now
    agree(garage, offered, visit.works, now, by_phone=dice.random() < 0.45)
    now += dt.timedelta(minutes=dice.randint(10, 45))
    yield now
    fetch_missing(garage, job, now)
    start_job(job=job, technician=worker, actor=garage.counter, clock=fixed(now))
    now = yield from work_on(garage, job, visit, worker, now)
    finish(garage, job, visit, worker, now)
    now += dt.timedelta(minutes=dice.randint(5, 20))
    yield now
    explain_skipped(garage, job, visit.works, now)
    invoice = issue(key=garage.key(), job=job, mail_to=visit.mail_to, actor=garage.counter, clock=fixed(now))
    yield from pay(garage, invoice, visit, now)


def take_in(garage: Garage, visit: Visit, now: dt.datetime) -> Job:
    """The key is on the counter: who, which car, how far, and what is wrong."""
    vehicle = garage.vehicles[visit.plate]
    vehicle.refresh_from_db()
    assert vehicle.owner is not None
    reason, before = visit.lower or ("", None)
    job = open_job(
        key=garage.key(),
        customer=vehicle.owner,
        vehicle=vehicle,
        concern=visit.concern,
        key_tag=str(visit.dice.randint(1, 24)),
        parked=visit.dice.choice(("yard, by the gate", "yard, by the wall", "street", "bay 2")),
        promised_at=visit.promised or at_time(now, FIVE),
        odometer=Odometer(visit.odometer, "mi", reason, before),
        actor=garage.counter,
        clock=fixed(now),
    )
    if vehicle.owner.order_number_required:
        order = {"order_number": f"PO-{visit.dice.randint(2000, 9999)}"}
        change_job(job=job, fields=order, actor=garage.counter, clock=fixed(now))
    return job


def offer(garage: Garage, job: Job, works: tuple[Work, ...], now: dt.datetime) -> Estimate:
    """Write the work up and print the estimate."""
    for work in works:
        write_up(garage, job, work, now)
    return write_estimate(job=job, actor=garage.counter, clock=fixed(now))


def write_up(garage: Garage, job: Job, work: Work, now: dt.datetime) -> Operation:
    """Put one piece of work on the sheet, with its lines."""
    advisory = _advisory(job, work.from_advisory) if work.from_advisory else None
    operation = add_operation(
        job=job,
        title=work.title or work.procedure,
        concern=work.concern,
        cause=work.cause,
        revision=garage.revisions[work.procedure] if work.procedure else None,
        advisory=advisory,
        actor=garage.counter,
        clock=fixed(now),
    )
    for fields in _lines(garage, work):
        save_line(operation=operation, fields=fields, actor=garage.counter, clock=fixed(now))
    return operation


def _advisory(job: Job, text: str) -> Advisory | None:
    return Advisory.objects.filter(vehicle=job.vehicle, text=text, state=Advisory.State.OPEN).first()


def _lines(garage: Garage, work: Work) -> list[dict[str, Any]]:
    """The lines of free work: hours at the shop's rate, parts at today's price, work done elsewhere."""
    lines: list[dict[str, Any]] = []
    if work.hours:
        hours = {"quantity": D(work.hours), "unit": "h", "typed": f"{work.hours} h", "unit_price": garage.labor_rate}
        lines.append({"kind": "labor", "description": "Labor", "tax_class": TaxClass.LABOR, **hours})
    for number, quantity in work.parts:
        item = garage.items[number]
        item.refresh_from_db()
        amount = {"quantity": D(quantity), "unit": item.base_unit, "unit_price": shelf.price_of(item) or D(0)}
        named = {"kind": kind_of(item), "item": item, "description": str(item), "condition": "new"}
        lines.append({**named, **amount, "tax_class": item.tax_class})
    for what, price in work.bought:
        amount = {"quantity": D(1), "unit": "each", "typed": "1", "unit_price": D(price)}
        named = {"kind": "part", "description": what, "condition": "new", "tax_class": TaxClass.PARTS}
        lines.append({**named, **amount})
    if work.sublet:
        who, price = work.sublet
        amount = {"quantity": D(1), "unit": "each", "unit_price": D(price)}
        lines.append({"kind": "sublet", "description": work.title, "sublet_to": who, "tax_class": "sublet", **amount})
    for what, most in work.if_needed:
        amount = {"quantity": D(1), "unit": "each", "typed": "1", "unit_price": D(most)}
        lines.append({"kind": "part", "description": what, "if_needed": True, "tax_class": TaxClass.PARTS, **amount})
    return lines


def agree(
    garage: Garage, estimate: Estimate, works: tuple[Work, ...], now: dt.datetime, *, by_phone: bool = False
) -> Authorization:
    """The customer decides on each operation; `declined` holds their word on what they do not want."""
    declined = {work.title or work.procedure: work.declined for work in works if work.declined}
    decisions = {
        row.operation_id: ("declined", declined[row.title]) if row.title in declined else ("authorized", "")
        for row in estimate.operations.all()
        if row.operation_id is not None
    }
    customer = estimate.job.customer
    again = Authorization.objects.filter(job=estimate.job).exists()
    return authorize(
        key=garage.key(),
        estimate=estimate,
        seal=estimate.content_sha256,
        decisions=decisions,
        person_name=customer.contact or customer.name,
        channel="phone" if by_phone else "in_person",
        contact=phone_of(customer) if by_phone else "",
        limit=estimate.net if again else None,
        actor=garage.counter,
        clock=fixed(now),
    )


def phone_of(customer: Customer) -> str:
    """The number a customer is called at."""
    first = customer.phones.first()
    return first.number if first else ""


def work_on(garage: Garage, job: Job, visit: Visit, worker: User, now: dt.datetime) -> Timed:
    """Do what was authorized, one operation after the other; gives the moment the last one is done."""
    operations = authorized(job).select_related("revision")
    for operation, work in pairs(list(operations), visit.works):
        now += dt.timedelta(minutes=5)
        yield now
        if operation.revision_id:
            steps = work_through(
                garage, operation, by=worker, start=now, dice=visit.dice, looks=work.looks, said=work.said,
                distance=said_distance(operation, work),
            )  # fmt: skip
            for now in steps:
                yield now
        else:
            do_freely(garage, operation, work, worker, now)
            now += dt.timedelta(minutes=visit.dice.randint(15, 40))
            yield now
    for noticed in visit.noticed:
        advise(garage, job, noticed, worker, now)
    return now


def said_distance(operation: Operation, work: Work) -> int | None:
    """What the owner says is on the fluid; nothing where the book knows when it was last changed."""
    known = DueService.objects.filter(vehicle=operation.job.vehicle, component=operation.component).exists()
    return None if known else work.distance


def pairs(operations: list[Operation], works: tuple[Work, ...]) -> list[tuple[Operation, Work]]:
    """Each authorized operation with how the demo planned it."""
    planned = {work.title or work.procedure: work for work in works}
    return [(operation, planned[operation.title]) for operation in operations]


def do_freely(garage: Garage, operation: Operation, work: Work, worker: User, now: dt.datetime) -> None:
    """Do work that has no procedure: draw its parts, and say what was done."""
    for line in operation.lines.filter(item__isnull=False):
        draw_for_line(key=garage.key(), line=line, quantity=line.base_quantity, actor=worker, clock=fixed(now))
    words = {"correction": work.correction or "Done as written."}
    edit_operation(operation=operation, fields=words, actor=worker, clock=fixed(now))


def advise(garage: Garage, job: Job, noticed: Noticed, worker: User, now: dt.datetime) -> Advisory:
    """Note what will need work later."""
    component = garage.components.get(noticed.component)
    return note_advisory(
        key=garage.key(),
        job=job,
        text=noticed.text,
        limit=noticed.limit,
        component=component,
        actor=worker,
        clock=fixed(now),
    )


def finish(garage: Garage, job: Job, visit: Visit, worker: User, now: dt.datetime) -> Job:
    """Look the car over, read the odometer and give the car back to the counter."""
    take_final_look(job=job, actor=worker, clock=fixed(now))
    out = visit.odometer + visit.dice.randint(0, 6)
    return finish_job(job=job, odometer_out=Odometer(out, "mi"), actor=worker, clock=fixed(now))


def explain_skipped(garage: Garage, job: Job, works: tuple[Work, ...], now: dt.datetime) -> None:
    """Say what was done where steps were skipped, which the draft asks before it is an invoice."""
    for operation, work in pairs(list(authorized(job)), works):
        if work.instead:
            answer_skipped(
                operation=operation, choice=SkippedAnswer.Choice.DONE, words=work.instead,
                actor=garage.counter, clock=fixed(now),
            )  # fmt: skip


def pay(garage: Garage, invoice: Invoice, visit: Visit, now: dt.datetime) -> Script:
    """The customer pays in full, at the counter or days later; without a method, not yet."""
    method, days = visit.pays
    if not method:
        return
    now = _bank_day(now, days) if days else now + dt.timedelta(minutes=visit.dice.randint(10, 150))
    yield now
    reference = {"check": f"check {visit.dice.randint(100, 999)}", "transfer": invoice.label}.get(method, "")
    take_payment(
        key=garage.key(), invoice=invoice, amount=invoice.gross, method=method, reference=reference,
        actor=garage.counter, clock=fixed(now),
    )  # fmt: skip


def _bank_day(now: dt.datetime, days: int) -> dt.datetime:
    """Half past nine, so many days later; a weekend's money comes on Monday."""
    day = (now.astimezone(ZONE) + dt.timedelta(days=days)).date()
    day += dt.timedelta(days=max(0, 7 - day.weekday()) % 7 if day.weekday() > 4 else 0)
    return dt.datetime.combine(day, dt.time(9, 30), ZONE)
