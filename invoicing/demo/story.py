"""The planned scenes of the past: cars whose story is worth looking up."""

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal

from garage.actions.profile import save_profile
from garage.actions.vehicles import change_owner
from garage.clock import fixed
from invoicing.actions.estimates import write_estimate
from invoicing.actions.invoices import credit, issue
from invoicing.actions.only_authorized import bill_only_authorized
from invoicing.actions.payments import reverse_payment, take_payment
from invoicing.demo import today
from invoicing.demo.buying import fetch_missing, renaming
from invoicing.demo.garage import Garage, Script
from invoicing.demo.history import odometer
from invoicing.demo.names import (
    AMBER,
    AUTOMATIC,
    AXLE,
    BRAKE_FLUID,
    BROWN,
    CARS,
    CHAIN_CASE,
    COOLANT,
    DAMP,
    DARK,
    FADED,
    FRONT_DIFF,
    OIL,
    PADS_FRONT,
    PADS_REAR,
    PICKUP_OIL,
    REAR_DIFF,
    REPEATED,
    SMALL_OIL,
    SPENT,
    TRANSFER,
    VAN_OIL,
    WET,
    WORN,
)
from invoicing.demo.visits import (
    Noticed,
    Visit,
    Work,
    agree,
    carry_out,
    finish,
    offer,
    pay,
    take_in,
    work_on,
    write_up,
)
from invoicing.models import Payment
from jobs.actions.evidence import Limit
from jobs.actions.stages import cancel_job, start_job
from jobs.actions.writing_up import save_line
from jobs.models import Job
from parts import queries as shelf
from parts.actions.stock import adjust, count_item

D = Decimal


def scripts(garage: Garage) -> Iterator[Script]:
    """Every scene, in no order: the clock sorts them."""
    yield renaming(garage, garage.at(655, 10))
    yield dearer(garage)
    yield new_owner(garage)
    for visit in (*odile(garage), *pickup(garage), *district(garage), *single_visits(garage)):
        yield carry_out(garage, visit)
    yield more_was_found(garage)
    yield taken_back(garage)
    yield bounced(garage)
    yield called_off(garage)
    yield partly_paid(garage)
    yield rounded_up(garage)
    yield given_up(garage)
    yield counted(garage)
    yield from today.scripts(garage)


def visit(garage: Garage, plate: str, days_ago: int, concern: str, *works: Work, **more: object) -> Visit:
    """A planned visit in the past, its odometer in line with the car's others."""
    opened = garage.at(days_ago, 8, 20)
    return Visit(plate, opened, odometer(CARS[plate], days_ago), concern, works, **more)  # type: ignore[arg-type]


def odile(garage: Garage) -> Iterator[Visit]:
    """A transfer case that gets worse, is changed twice over, and comes back."""
    yield visit(
        garage, "KET-118", 1035, "First time here. Never had anything but oil changed.",
        Work(procedure=OIL), Work(procedure=TRANSFER, looks=(WORN,), distance=odometer(CARS["KET-118"], 1035)),
    )  # fmt: skip
    yield visit(
        garage, "KET-118", 670, "Shudder when pulling away on full lock. Towed a horse trailer all summer.",
        Work(procedure=OIL),
        Work(procedure=TRANSFER, looks=(SPENT,), cause="Fluid burnt, glitter on the magnet."),
        Work(procedure=BRAKE_FLUID, looks=(WET,), distance=odometer(CARS["KET-118"], 670)),
        noticed=(Noticed(
            "Transfer case: change again and look after 1,000 mi",
            Limit("distance", odometer=odometer(CARS["KET-118"], 625)), "Transfer case",
        ),),
    )  # fmt: skip
    yield visit(
        garage, "KET-118", 625, "Here for the second look. Shudder is less.",
        Work(
            procedure=REPEATED, looks=(WORN, BROWN), cause="First drain still dark, second one plainly lighter.",
            from_advisory="Transfer case: change again and look after 1,000 mi",
        ),
    )  # fmt: skip
    yield visit(
        garage, "KET-118", 275, "Yearly service. No shudder any more, wants the transfer case looked at all the same.",
        Work(procedure=OIL), Work(procedure=TRANSFER, looks=(AMBER,)),
        Work(procedure=FRONT_DIFF, looks=(BROWN,), distance=odometer(CARS["KET-118"], 275)),
        noticed=(Noticed(
            "Rear brake pads: 3 mm left", Limit("distance", odometer=odometer(CARS["KET-118"], 0) + 1500), "Rear brakes"
        ),),
    )  # fmt: skip


def pickup(garage: Garage) -> Iterator[Visit]:
    """A pickup that tows: metal in the rear axle, caught in time; its last invoice is overdue."""
    late = "Rear axle: metal in the oil, look again after 2,000 mi"
    yield visit(
        garage, "ASH-201", 905, "Hums from behind when towing.",
        Work(procedure=PICKUP_OIL),
        Work(
            procedure=AXLE, looks=(SPENT,), distance=odometer(CARS["ASH-201"], 905), cause="Never changed; metal in it."
        ),
        noticed=(Noticed(late, Limit("next"), "Rear differential"),), pays=("transfer", 21),
    )  # fmt: skip
    yield visit(
        garage, "ASH-201", 862, "Second look at the rear axle.",
        Work(procedure=AXLE, looks=(WORN,), from_advisory=late), pays=("transfer", 25),
    )  # fmt: skip
    yield visit(
        garage, "ASH-201", 638, "Oil change reminder came on.", Work(procedure=PICKUP_OIL), pays=("transfer", 23)
    )
    yield visit(
        garage, "ASH-201", 360, "Service before the season.",
        Work(procedure=PICKUP_OIL), Work(procedure=AXLE, looks=(DARK,)),
        Work(procedure=CHAIN_CASE, looks=(BROWN,), distance=odometer(CARS["ASH-201"], 360)), pays=("transfer", 28),
    )  # fmt: skip
    yield visit(
        garage, "ASH-201", 76, "Service, and the trailer socket.",
        Work(procedure=PICKUP_OIL),
        Work(title="Trailer socket", hours="0.5", cause="Two pins green.", correction="Pins cleaned, cover new."),
        pays=("", 0),
    )  # fmt: skip


def district(garage: Garage) -> Iterator[Visit]:
    """Two years before today's: the Water District's pickup, transfer case and rear axle."""
    yield visit(
        garage, "LFW-001", 741, "Transfer case and rear axle, as every other year.",
        Work(procedure=CHAIN_CASE, looks=(BROWN,), distance=odometer(CARS["LFW-001"], 741)),
        Work(procedure=AXLE, looks=(DARK,), distance=odometer(CARS["LFW-001"], 741)), pays=("transfer", 19),
    )  # fmt: skip


def single_visits(garage: Garage) -> Iterator[Visit]:
    """One visit each: a declined operation, a new odometer, a bolt too tight, a step left out, a mail that waits."""
    sam = odometer(CARS["SAM-803"], 22)
    yield visit(
        garage, "SAM-803", 22, "Service. Squeaks a little at the rear.",
        Work(procedure=SMALL_OIL), Work(procedure=PADS_REAR, declined="Not this month, after payday."),
        noticed=(Noticed(
            "Rear brake pads: 2.5 mm left", Limit("distance", odometer=round(sam + 1500, -2)), "Rear brakes"
        ),),
    )  # fmt: skip
    cluster = Work(
        title="Instrument cluster", hours="1.2", sublet=("Ashmere Auto Electric", "310.00"),
        cause="Display dead; cluster replaced by Ashmere Auto Electric.", correction="New cluster shows 40 mi.",
    )  # fmt: skip
    yield visit(garage, "HAG-020", 250, "Display went dark.", Work(procedure=OIL))
    shown = odometer(CARS["HAG-020"], 236)
    yield Visit(
        "HAG-020", garage.at(236, 8, 40), 40, "Back from the electrician with a new cluster; clear the lights.",
        (cluster,), lower=("replaced", shown),
    )  # fmt: skip
    yield visit(
        garage, "TAX-012", 48, "Oil, quickly please, fare at two.",
        Work(procedure=OIL, said={"Tighten the drain plug": {
            "reading": "36", "reason": "Wrench was still set for the wheels of the car before.",
        }}),
    )  # fmt: skip
    yield visit(
        garage, "IDV-574", 130, "Oil is due.",
        Work(procedure=SMALL_OIL, said={"Look over belts, hoses, tires and lights; set the reminder, sticker on": {
            "skip": "Customer in a hurry.",
        }}, instead="Looked over at the next visit; reminder and sticker set, no time was charged for the rest."),
    )  # fmt: skip
    yield visit(
        garage, "PDP-118", 44, "Service, and it pulls air in the foot well.",
        Work(procedure=VAN_OIL), Work(procedure=AXLE, looks=(BROWN,), distance=24380), pays=("", 0),
    )  # fmt: skip
    yield visit(
        garage, "LUF-330", 1, "Yearly service, mail me the bill.",
        Work(procedure=OIL), Work(procedure=REAR_DIFF, looks=(BROWN,), distance=31460),
        pays=("", 0), mail_to="luca@example.com",
    )  # fmt: skip


def dearer(garage: Garage) -> Script:
    """The labor rate goes up twice."""
    for days_ago, rate in ((730, "120.00"), (365, "128.00")):
        moment = garage.at(days_ago, 7)
        yield moment
        garage.labor_rate = D(rate)
        save_profile(fields={"labor_rate": D(rate)}, actor=garage.people["owner"], clock=fixed(moment))


def new_owner(garage: Garage) -> Script:
    """Ruben Castell sells his second car to Simon Adeyemi; its history stays with the car."""
    moment = garage.at(400, 16)
    yield moment
    change_owner(
        vehicle=garage.vehicles["CAS-655"], customer=garage.customers["Simon Adeyemi"], on=garage.day(400),
        actor=garage.counter, clock=fixed(moment),
    )  # fmt: skip


def more_was_found(garage: Garage) -> Script:
    """In the bay more work turns up: a revised estimate, a call, and a second authorization before it is done."""
    found = Work(procedure=PADS_FRONT, cause="1.5 mm left on the inside.", said={
        "Pad lining as found, left, the thinner pad": {"reading": "1.5", "reason": "Worn out, rotor without a groove."},
    })  # fmt: skip
    planned = visit(
        garage,
        "VAL-690",
        150,
        "Pulls a little to the left when braking.",
        Work(procedure=BRAKE_FLUID, looks=(DAMP,), distance=24870),
    )
    now, worker = planned.opened, garage.people["owner"]
    yield now
    job = take_in(garage, planned, now)
    agree(garage, offer(garage, job, planned.works, now), planned.works, now + dt.timedelta(minutes=10))
    now += dt.timedelta(minutes=40)
    yield now
    start_job(job=job, technician=worker, actor=garage.counter, clock=fixed(now))
    now += dt.timedelta(minutes=15)
    yield now
    write_up(garage, job, found, now)
    revised = write_estimate(job=job, actor=garage.counter, clock=fixed(now))
    now += dt.timedelta(minutes=20)
    yield now
    agree(garage, revised, (*planned.works, found), now, by_phone=True)
    fetch_missing(garage, job, now)
    both = Visit(planned.plate, planned.opened, planned.odometer, planned.concern, (*planned.works, found))
    now = yield from work_on(garage, job, both, worker, now)
    finish(garage, job, planned, worker, now)
    invoice = issue(key=garage.key(), job=job, actor=garage.counter, clock=fixed(now))
    yield from pay(garage, invoice, planned, now)


def taken_back(garage: Garage) -> Script:
    """An invoice went to an old address: credited whole, and billed again."""
    planned = visit(garage, "OSC-021", 118, "Service.", Work(procedure=SMALL_OIL), pays=("", 0))
    yield from carry_out(garage, planned)
    now = garage.at(115, 9, 10)
    yield now
    job = Job.objects.get(vehicle=garage.vehicles["OSC-021"], received_at=planned.opened)
    wrong = job.invoices.get()
    reason = "Billed to the clinic’s old address."
    credit(key=garage.key(), invoice=wrong, reason=reason, actor=garage.people["owner"], clock=fixed(now))
    now += dt.timedelta(minutes=12)
    yield now
    invoice = issue(key=garage.key(), job=job, actor=garage.counter, clock=fixed(now))
    now = garage.at(96, 9, 20)
    yield now
    take_payment(
        key=garage.key(), invoice=invoice, amount=invoice.gross, method="transfer", reference=invoice.label,
        actor=garage.counter, clock=fixed(now),
    )  # fmt: skip


def bounced(garage: Garage) -> Script:
    """A check bounces and is made good in cash."""
    planned = visit(
        garage, "IDV-574", 64, "Coolant light comes on at times.",
        Work(procedure=COOLANT, looks=(FADED,), distance=odometer(CARS["IDV-574"], 64)),
        pays=("check", 0),
    )  # fmt: skip
    yield from carry_out(garage, planned)
    now = garage.at(57, 9, 5)
    yield now
    invoice = Job.objects.get(vehicle=garage.vehicles["IDV-574"], received_at=planned.opened).invoices.get()
    check = Payment.objects.get(parts__invoice=invoice)
    reverse_payment(
        key=garage.key(), payment=check, reason="The check bounced.", actor=garage.counter, clock=fixed(now)
    )
    now += dt.timedelta(days=5)
    yield now
    take_payment(
        key=garage.key(), invoice=invoice, amount=invoice.gross, method="cash", actor=garage.counter, clock=fixed(now)
    )


def called_off(garage: Garage) -> Script:
    """A job that came to nothing."""
    planned = visit(garage, "FIO-246", 96, "Wants a price for new front pads.", Work(procedure=PADS_FRONT))
    now = planned.opened
    yield now
    job = take_in(garage, planned, now)
    now += dt.timedelta(minutes=15)
    yield now
    offer(garage, job, planned.works, now)
    now = garage.at(94, 10)
    yield now
    cancel_job(job=job, reason="Fetched the car, her brother does it.", actor=garage.counter, clock=fixed(now))


def partly_paid(garage: Garage) -> Script:
    """A large invoice, a part of it paid when the car was fetched."""
    planned = visit(
        garage, "DEL-356", 9, "Service, everything that is due.",
        Work(procedure=SMALL_OIL), Work(procedure=AUTOMATIC, looks=(BROWN,), distance=odometer(CARS["DEL-356"], 9)),
        Work(procedure=PADS_FRONT), pays=("", 0),
    )  # fmt: skip
    yield from carry_out(garage, planned)
    now = planned.opened + dt.timedelta(hours=8, minutes=40)
    yield now
    invoice = Job.objects.get(vehicle=garage.vehicles["DEL-356"], received_at=planned.opened).invoices.get()
    take_payment(
        key=garage.key(), invoice=invoice, amount=D("400.00"), method="card", reference="the rest next week",
        actor=garage.counter, clock=fixed(now),
    )  # fmt: skip


def rounded_up(garage: Garage) -> Script:
    """Simon Adeyemi sends a round sum for his bill: what is more than it stands as credit on his account."""
    planned = visit(garage, "CAS-655", 38, "Service.", Work(procedure=OIL), pays=("", 0))
    yield from carry_out(garage, planned)
    now = garage.at(31, 9, 30)
    yield now
    invoice = Job.objects.get(vehicle=garage.vehicles["CAS-655"], received_at=planned.opened).invoices.get()
    sent = (invoice.gross // 50 + 1) * 50
    take_payment(
        key=garage.key(), invoice=invoice, amount=sent, credit=sent - invoice.gross, method="transfer",
        reference=invoice.label, paid_on=garage.day(32), actor=garage.counter, clock=fixed(now),
    )  # fmt: skip


def given_up(garage: Garage) -> Script:
    """A bolt breaks and is drilled out, and nobody calls first: the garage charges only what was authorized."""
    planned = visit(garage, "VAL-690", 12, "Brake light came on.", Work(procedure=PADS_REAR))
    now, worker = planned.opened, garage.people["technician"]
    yield now
    job = take_in(garage, planned, now)
    agree(garage, offer(garage, job, planned.works, now), planned.works, now + dt.timedelta(minutes=8))
    now += dt.timedelta(minutes=35)
    yield now
    fetch_missing(garage, job, now)
    start_job(job=job, technician=worker, actor=garage.counter, clock=fixed(now))
    now = yield from work_on(garage, job, planned, worker, now)
    hours = {"quantity": D("0.6"), "unit": "h", "typed": "0.6 h", "unit_price": garage.labor_rate}
    fields = {"kind": "labor", "description": "Broken bracket bolt drilled out", "tax_class": "labor", **hours}
    save_line(operation=job.operations.get(), fields=fields, actor=worker, clock=fixed(now))
    finish(garage, job, planned, worker, now)
    now += dt.timedelta(minutes=15)
    yield now
    amount = (D("0.6") * garage.labor_rate).quantize(D("0.01"))
    bill_only_authorized(key=garage.key(), job=job, amount=amount, actor=garage.counter, clock=fixed(now))
    invoice = issue(key=garage.key(), job=job, actor=garage.counter, clock=fixed(now))
    yield from pay(garage, invoice, planned, now)


def counted(garage: Garage) -> Script:
    """Yesterday's count: a bottle half used, and fewer spray cans than the book said."""
    now = garage.latest - dt.timedelta(hours=25)
    yield now
    left = D("0.340")
    bottles = shelf.to_draw(garage.items["TF-31"])
    bottle = next((bottle for bottle in bottles if bottle.content >= left), None)
    if bottle is not None:
        adjust(
            key=garage.key(), container=bottle, content=left, typed="0.34 L", reason="dipped",
            actor=garage.people["technician"], clock=fixed(now),
        )  # fmt: skip
    cans = garage.items["BC-5"]
    count_item(key=garage.key(), item=cans, quantity=D(3), actor=garage.people["technician"], clock=fixed(now))
