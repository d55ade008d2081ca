"""What the tests of write-offs do: a bill above its yes, the tap on the draft, what came off."""

import re
import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django.test import Client

from garage.actions.customers import save_customer
from garage.clock import fixed
from garage.models import AuditEntry, Customer
from invoicing.actions.only_authorized import bill_only_authorized
from jobs.models import Finer, Job, Line
from tests.invoicing.cast import Garage, labor, part
from tests.invoicing.consent_cast import NO, say
from tests.invoicing.test_pages import text_of

D = Decimal
Login = Callable[[str], Client]


def line_of(job: Job, kind: str = "part") -> Line:
    return Line.objects.filter(operation__job=job, kind=kind).earliest("pk")


def draft_page(client: Client, job: Job) -> str:
    return text_of(client.get(f"/jobs/{job.pk}/invoice/"))


def hidden(page: str) -> dict[str, str]:
    """What the form of the act carries."""
    form = page.partition("/only-authorized/")[2].partition("</form>")[0]
    return dict(re.findall(r'name="(key|amount)" value="([^"]+)"', form))


def tap(client: Client, job: Job, sent: dict[str, str] | None = None) -> str:
    """Press “Bill only what was authorized” on the draft."""
    sent = sent or hidden(draft_page(client, job))
    return text_of(client.post(f"/jobs/{job.pk}/only-authorized/", sent, follow=True))


def off(job: Job) -> dict[str, Decimal]:
    """What is written off, by tax class."""
    return {row.tax_class: -row.unit_price for row in Line.objects.filter(operation__job=job, finer=Finer.WRITE_OFF)}


def only_authorized(garage: Garage, job: Job, amount: str, **more: Any) -> AuditEntry:
    given = {"key": uuid.uuid4(), "actor": garage.actor, "clock": fixed(garage.now), **more}
    return bill_only_authorized(job=job, amount=D(amount), **given)


def with_sensor(garage: Garage) -> Job:
    """Labor and pads were authorized and done; a sensor at 12.00 went on, which the customer then declined."""
    job = garage.done([labor(), part()])
    garage.line(job.operations.get(), **part("Wear sensor", "12.00"))
    say(garage, job, job.operations.get(), NO)
    return job


def exempt_no_more(garage: Garage) -> Job:
    """Work authorized and done by a customer whose exemption was unticked afterwards."""
    customer = garage.customer(tax_exempt=True, exemption_certificate="EX-9")
    job = garage.done([part(), labor("1")], customer=customer)
    not_exempt(garage, customer)
    return job


def not_exempt(garage: Garage, customer: Customer) -> None:
    save_customer(customer=customer, fields={"tax_exempt": False}, actor=garage.actor, clock=fixed(garage.now),
                  phones=[("555-0142", "")], emails=[])  # fmt: skip
