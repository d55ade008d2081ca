"""Visits at every stage, made by the program's own verbs: what the pages have to show."""

import uuid
from dataclasses import dataclass
from decimal import Decimal

from django.utils import timezone
from playwright.sync_api import Page

from garage.clock import fixed
from garage.models import Vehicle
from invoicing.actions.authorizations import authorize
from invoicing.actions.estimates import write_estimate
from invoicing.actions.invoices import issue
from invoicing.actions.payments import take_payment
from invoicing.models import Estimate, Invoice
from jobs import stages
from jobs.actions.evidence import Limit, note_advisory
from jobs.actions.intake import NewCustomer, NewVehicle, Odometer, open_job
from jobs.actions.stages import start_job
from jobs.actions.steps import act
from jobs.actions.writing_up import add_operation, save_line
from jobs.models import Job, JobStep
from tests.browser.cast import Garage
from tests.browser.running import Running
from tests.jobs.bay_cast import look_and_finish

#: What is typed at each step of the cast's procedure, by its position.
TYPED = {
    2: {"reading": "0.8"},
    3: {"color": "brown", "clarity": "clear", "particles": "paste", "smell": "usual"},
    4: {"reading": "13"},
    6: {"reading": "0.85"},
    7: {"reading": "13"},
}


@dataclass
class Visit:
    """One visit and its papers, as far as it has come."""

    garage: Garage
    job: Job
    vehicle: Vehicle
    estimate: Estimate | None = None
    invoice: Invoice | None = None

    def refreshed(self) -> Job:
        return Job.objects.get(pk=self.job.pk)


def visit(garage: Garage, name: str, plate: str, *, until: str = stages.CLOSED) -> Visit:
    """A car that has come as far as `until`: taken in, written up, and so on in the order of the stages."""
    came = _written_up(garage, name, plate)
    go_on(came, until=until)
    return came


def in_bay(page: Page, running: Running, garage: Garage, plate: str) -> Visit:
    """A car in the bay, and the page that shows its steps."""
    with running.book():
        came = visit(garage, "Nell Ashby", plate, until=stages.IN_BAY)
    page.goto(f"/bay/{came.job.pk}/")
    return came


def go_on(came: Visit, *, until: str) -> None:
    """Take a car from where it is to the stage `until`."""
    way = [stages.WRITTEN_UP, *ACTS]
    for stage in way[way.index(came.refreshed().stage) + 1 : way.index(until) + 1]:
        ACTS[stage](came)
    assert came.refreshed().stage == until


def _written_up(garage: Garage, name: str, plate: str) -> Visit:
    now, owner = timezone.now(), garage.owner
    job = open_job(
        key=uuid.uuid4(),
        customer=NewCustomer(
            {"name": name, "address": "4 Weir Lane\nMarlow Falls"}, [("555-0142", "")], [("who@example.com", "")]
        ),
        vehicle=NewVehicle({"make": "Brannock", "model": "Fell 2.4", "year": 2016, "plate": plate}),
        concern="Whines when cold, worse uphill.",
        key_tag=plate[-2:],
        parked="yard 3",
        drop_off_notes="Scratch on the left rear door.",
        odometer=Odometer(88_410, "mi"),
        actor=owner,
        clock=fixed(now),
    )
    revision = garage.procedure.current
    add_operation(job=job, title=garage.procedure.title, revision=revision, actor=owner, clock=fixed(now))
    free = add_operation(job=job, title="Wiper blades, front", actor=owner, clock=fixed(now))
    blades = {
        "kind": "part",
        "description": "Wiper blade, 22 in",
        "quantity": Decimal(2),
        "unit": "each",
        "typed": "2",
        "unit_price": Decimal("14.50"),
        "tax_class": "parts",
    }
    save_line(operation=free, fields=blades, actor=owner, clock=fixed(now))
    assert job.vehicle is not None
    return Visit(garage, job, job.vehicle)


def _ask(came: Visit) -> None:
    came.estimate = write_estimate(job=came.job, actor=came.garage.owner, clock=timezone.now)


def _authorize(came: Visit) -> None:
    assert came.estimate is not None
    authorize(
        key=uuid.uuid4(),
        estimate=came.estimate,
        seal=came.estimate.content_sha256,
        decisions={operation.pk: ("authorized", "") for operation in came.job.operations.all()},
        person_name=came.job.customer.name,
        channel="phone",
        contact="555-0142",
        actor=came.garage.owner,
        clock=timezone.now,
    )


def _start(came: Visit) -> None:
    who = came.garage.technician
    start_job(job=came.refreshed(), technician=who, actor=who, clock=timezone.now)


def _work(came: Visit) -> None:
    who, now = came.garage.technician, timezone.now()
    for step in JobStep.objects.filter(operation__job=came.job).order_by("operation__position", "position"):
        typed = TYPED.get(step.position, {})
        act(event_id=uuid.uuid4(), step=step, kind="tick", base_version=0, data=typed, actor=who, clock=fixed(now))
    note_advisory(
        key=uuid.uuid4(),
        job=came.job,
        text="Front drain plug worn: replace at the next change",
        limit=Limit("next"),
        actor=who,
        clock=fixed(now),
    )
    came.job.operations.filter(revision=None).update(correction="Both blades replaced.")
    look_and_finish(job=came.refreshed(), odometer_out=Odometer(88_412, "mi"), actor=who, clock=fixed(now))


def _bill(came: Visit) -> None:
    came.invoice = issue(key=uuid.uuid4(), job=came.refreshed(), actor=came.garage.owner, clock=timezone.now)


def _pay(came: Visit) -> None:
    assert came.invoice is not None
    owed = came.invoice.gross
    take_payment(
        key=uuid.uuid4(), invoice=came.invoice, amount=owed, method="card", actor=came.garage.owner, clock=timezone.now
    )


#: What brings a car to each stage after it was written up.
ACTS = {
    stages.AWAITING: _ask,
    stages.READY: _authorize,
    stages.IN_BAY: _start,
    stages.FINISHED: _work,
    stages.INVOICED: _bill,
    stages.CLOSED: _pay,
}
