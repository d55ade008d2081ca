"""What the garage has on its hands today: one job at each stage."""

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal

from garage.clock import fixed
from invoicing.actions.payments import take_deposit
from invoicing.demo.bay import work_through
from invoicing.demo.buying import fetch_missing
from invoicing.demo.garage import ZONE, Garage, Script, at_time
from invoicing.demo.history import odometer
from invoicing.demo.names import AMBER, AUTOMATIC, AXLE, BRAKE_FLUID, CARS, CHAIN_CASE, COOLANT, DARK, PADS_REAR, WORN
from invoicing.demo.visits import FIVE, Noticed, Visit, Work, agree, finish, offer, said_distance, take_in, work_on
from jobs.actions.evidence import Limit
from jobs.actions.stages import start_job


def scripts(garage: Garage) -> Iterator[Script]:
    """Every scene of today."""
    yield awaiting(garage)
    yield in_the_bay(garage)
    yield ready_to_invoice(garage)
    yield ready_for_the_bay(garage)
    yield just_written_up(garage)


def visit(garage: Garage, plate: str, since: dt.timedelta, concern: str, *works: Work, **more: object) -> Visit:
    """A visit that still goes on; it began so long before the garage was last at work."""
    opened = garage.latest - since
    miles = odometer(CARS[plate], 0)
    return Visit(plate, opened, miles, concern, works, **more)  # type: ignore[arg-type]


def by_five(garage: Garage) -> dt.datetime:
    """Five o'clock today: then a car of today is promised."""
    return at_time(garage.now, FIVE)


def next_day(garage: Garage, time: dt.time) -> dt.datetime:
    """That time on the next working day."""
    days = {4: 3, 5: 2}.get(garage.now.astimezone(ZONE).weekday(), 1)
    return at_time(garage.now + dt.timedelta(days=days), time)


def awaiting(garage: Garage) -> Script:
    """Odile Marrant has the estimate and has not called back."""
    planned = visit(
        garage, "KET-118", dt.timedelta(hours=3, minutes=40), "Squeals at the rear when braking in the morning.",
        Work(
            procedure=PADS_REAR, from_advisory="Rear brake pads: 3 mm left",
            if_needed=(("Rear rotors, the pair", "148.00"),),
        ),
        Work(procedure=BRAKE_FLUID),
        promised=next_day(garage, dt.time(12)),
    )  # fmt: skip
    yield planned.opened
    job = take_in(garage, planned, planned.opened)
    now = planned.opened + dt.timedelta(minutes=25)
    yield now
    offer(garage, job, planned.works, now)


def in_the_bay(garage: Garage) -> Script:
    """The Water District's pickup: one operation done, the next half way."""
    since = dt.timedelta(hours=3)
    planned = visit(
        garage, "LFW-001", since, "Transfer case and rear axle, as every other year.",
        Work(procedure=CHAIN_CASE, looks=(AMBER,)), Work(procedure=AXLE, looks=(DARK,)),
        promised=by_five(garage),
    )  # fmt: skip
    now, worker = planned.opened, garage.people["technician"]
    yield now
    job = take_in(garage, planned, now)
    agree(garage, offer(garage, job, planned.works, now), planned.works, now + dt.timedelta(minutes=12), by_phone=True)
    now += dt.timedelta(minutes=20)
    yield now
    fetch_missing(garage, job, now)
    start_job(job=job, technician=worker, actor=garage.counter, clock=fixed(now))
    operations = list(job.operations.order_by("position"))
    stops = ("", "Vehicle stands level")
    for operation, work, stop in zip(operations, planned.works, stops, strict=True):
        steps = work_through(
            garage, operation, by=worker, start=now, dice=planned.dice, looks=work.looks,
            distance=said_distance(operation, work), up_to=stop,
        )  # fmt: skip
        for now in steps:
            yield now


def ready_to_invoice(garage: Garage) -> Script:
    """The work is done, the car is washed, the invoice is not written."""
    since = dt.timedelta(hours=5, minutes=20)
    planned = visit(
        garage, "REN-440", since, "Shifts a little hard when cold. Service.",
        Work(
            procedure=AUTOMATIC, looks=(WORN,), distance=odometer(CARS["REN-440"], 0), cause="Fluid dark and cloudy."
        ),
        noticed=(Noticed(
            "Transmission fluid: change again after 500 mi",
            Limit("distance", odometer=odometer(CARS["REN-440"], 0) + 500), "Automatic transmission",
        ),),
        by="owner", promised=by_five(garage),
    )  # fmt: skip
    now, worker = planned.opened, garage.people["owner"]
    yield now
    job = take_in(garage, planned, now)
    agree(garage, offer(garage, job, planned.works, now), planned.works, now + dt.timedelta(minutes=9))
    now += dt.timedelta(minutes=30)
    yield now
    fetch_missing(garage, job, now)
    start_job(job=job, technician=worker, actor=garage.counter, clock=fixed(now))
    now = yield from work_on(garage, job, planned, worker, now)
    finish(garage, job, planned, worker, now)


def ready_for_the_bay(garage: Garage) -> Script:
    """Authorized by telephone, a deposit left with the key, promised for today, and the bay is taken."""
    since = dt.timedelta(hours=2, minutes=10)
    planned = visit(
        garage, "PRV-147", since, "Smells sweet from the vents.",
        Work(procedure=COOLANT, cause="Coolant low, no drop outside."), promised=by_five(garage),
    )  # fmt: skip
    yield planned.opened
    job = take_in(garage, planned, planned.opened)
    now = planned.opened + dt.timedelta(minutes=20)
    yield now
    offered = offer(garage, job, planned.works, now)
    now += dt.timedelta(minutes=15)
    yield now
    agree(garage, offered, planned.works, now, by_phone=True)
    take_deposit(
        key=garage.key(), job=job, amount=Decimal("100.00"), method="card", actor=garage.counter, clock=fixed(now)
    )


def just_written_up(garage: Garage) -> Script:
    """The key lies on the counter; nobody has looked yet."""
    planned = visit(
        garage, "THW-155", dt.timedelta(minutes=25), "Whines from the front at highway speed.",
        promised=next_day(garage, dt.time(16, 30)),
    )  # fmt: skip
    yield planned.opened
    take_in(garage, planned, planned.opened)
