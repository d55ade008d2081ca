"""The books' cast, made by the program's own verbs: a customer with a car, a job, and each act up to the payment."""

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.utils import timezone

from garage import promises
from garage.actions.customers import save_customer
from garage.actions.vehicles import save_vehicle
from garage.clock import fixed
from garage.models import Customer, User, Vehicle
from invoicing.accounts import Place
from invoicing.actions import authorizations, estimates, invoices, payments, taxes
from invoicing.models import Allocation, Authorization, Estimate, Invoice, Payment, TaxRate
from jobs.actions.draws import draw_for_line, return_from_line
from jobs.actions.intake import Odometer, open_job
from jobs.actions.stages import start_job
from jobs.actions.writing_up import add_operation, edit_operation, save_line
from jobs.consents import authorized
from jobs.models import Job, Line, Operation
from parts.actions.items import save_item
from parts.actions.receiving import opening_stock
from parts.models import Item
from tests.jobs.bay_cast import look_and_finish, sure

D = Decimal


def labor(hours: str = "1.4", price: str = "128.00", **more: Any) -> dict[str, Any]:
    """The fields of a labor line."""
    return {
        "kind": "labor", "description": "Labor", "quantity": D(hours), "unit": "h", "unit_price": D(price),
        "tax_class": "labor", **more,
    }  # fmt: skip


def part(description: str = "Pad set, rear", price: str = "74.90", quantity: str = "1", **more: Any) -> dict[str, Any]:
    """The fields of a part line, described and not from the shelf."""
    return {
        "kind": "part", "description": description, "condition": "new", "quantity": D(quantity), "unit": "each",
        "unit_price": D(price), "tax_class": "parts", **more,
    }  # fmt: skip


def charge(
    description: str, price: str, kind: str = "charge", tax_class: str = "charge", **more: Any
) -> dict[str, Any]:
    """The fields of a charge, or of work done by somebody else."""
    return {
        "kind": kind, "description": description, "quantity": D(1), "unit": "each", "unit_price": D(price),
        "tax_class": tax_class, **more,
    }  # fmt: skip


@dataclass
class Garage:
    """A small garage on one day: `now` is its clock, which tests may move."""

    people: dict[str, User]
    now: dt.datetime
    cars: int = 0
    items: dict[str, Item] = field(default_factory=dict)

    @property
    def actor(self) -> User:
        return self.people["counter"]

    @property
    def today(self) -> dt.date:
        """The shop's day."""
        return timezone.localdate(self.now)

    def live(self) -> None:
        """Go by the real clock, which the pages read; the taxes have been there for years."""
        self.now = timezone.now()
        TaxRate.objects.update(valid_from=self.today - dt.timedelta(days=700))

    def days_ago(self, days: int) -> dt.datetime:
        """This time of the shop's day so many days before: 24 hours more or less where its clocks changed meanwhile."""
        return (timezone.localtime(self.now) - dt.timedelta(days)).astimezone(dt.UTC)

    def rates(self, **rates: str) -> None:
        """Set a tax rate for each class named, from the year's first day."""
        first = dt.date(self.today.year, 1, 1)
        for tax_class, rate in rates.items():
            taxes.set_rate(
                name="Sales tax",
                classes=[tax_class],
                rate=D(rate),
                valid_from=first,
                actor=self.actor,
                clock=fixed(self.now),
            )

    def customer(self, name: str = "Odile Marrant", **fields: Any) -> Customer:
        return save_customer(
            actor=self.actor,
            clock=fixed(self.now),
            fields={"name": name, "address": "4 Quay Street\nLower Fernhollow", **fields},
            phones=[("555-0142", "")],
            emails=[("odile@example.com", "")],
            designated=[("Piet Marrant", "555-0143")],
        )

    def car(self, owner: Customer) -> Vehicle:
        self.cars += 1
        fields = {"make": "Brannock", "model": "Fell 2.4", "year": 2016, "plate": f"KET-{117 + self.cars}"}
        return save_vehicle(actor=self.actor, clock=fixed(self.now), fields=fields, owner=owner)

    def job(self, *operations: list[dict[str, Any]], customer: Customer | None = None, **more: Any) -> Job:
        """A job with an operation for each list of lines; its car stands at 88,410 miles."""
        owner = customer or self.customer()
        job = open_job(
            key=uuid.uuid4(),
            customer=owner,
            vehicle=self.car(owner),
            concern="Shudder when pulling away on full lock.",
            odometer=Odometer(88410, "mi"),
            actor=self.actor,
            clock=fixed(self.now),
            **more,
        )
        for number, lines in enumerate(operations, start=1):
            self.operation(job, f"Operation {number}", *lines)
        return job

    def operation(self, job: Job, title: str, *lines: dict[str, Any]) -> Operation:
        operation = add_operation(job=job, title=title, actor=self.actor, clock=fixed(self.now))
        for fields in lines:
            self.line(operation, **fields)
        return operation

    def line(self, operation: Operation, **fields: Any) -> Line:
        return save_line(operation=operation, fields=fields, actor=self.actor, clock=fixed(self.now))

    def fluid(self, liters: int = 3, name: str = "TF-31 transfer fluid", cost: str = "36") -> Item:
        """A transfer fluid in 1 L bottles at 36.00, sold at 61.20 a liter."""
        fields = {"kind": "fluid", "name": name, "brand": "Kestrel", "base_unit": "L", "price": D("61.20")}
        packs = [("1 L bottle", D(1), "1 L", "")]
        item = save_item(actor=self.actor, clock=fixed(self.now), fields=fields, packs=packs)
        opening_stock(
            key=uuid.uuid4(),
            item=item,
            pack=item.packs.get(),
            packs=liters,
            unit_cost=D(cost),
            actor=self.actor,
            clock=fixed(self.now),
        )
        return item

    def poured(self, item: Item, liters: str, **more: Any) -> dict[str, Any]:
        """The fields of a fluid line."""
        return {
            "kind": "fluid", "item": item, "description": str(item), "condition": "new", "quantity": D(liters),
            "unit": "L", "typed": f"{liters} L", "unit_price": D("61.20"), "tax_class": "parts", **more,
        }  # fmt: skip

    def estimate(self, job: Job) -> Estimate:
        return estimates.write_estimate(job=job, actor=self.actor, clock=fixed(self.now))

    def authorize(self, estimate: Estimate, declined: Mapping[int, str] | None = None, **more: Any) -> Authorization:
        """Odile says yes by phone to everything that is not declined."""
        refused = declined or {}
        decisions = {
            key: ("declined", refused[key]) if key in refused else ("authorized", "")
            for row in estimate.operations.all()
            if (key := row.operation_id) is not None
        }
        given = {
            "key": uuid.uuid4(),
            "seal": estimate.content_sha256,
            "decisions": decisions,
            "person_name": str(estimate.job.customer),
            "channel": "phone",
            "contact": "555-0142",
            "actor": self.actor,
            "clock": fixed(self.now),
            **more,
        }
        return authorizations.authorize(estimate=estimate, **given)

    def into_bay(self, job: Job) -> Job:
        return start_job(job=job, technician=self.people["technician"], actor=self.actor, clock=fixed(self.now))

    def draw(self, line: Line, quantity: str) -> None:
        given = {"line": line, "quantity": D(quantity), "actor": self.actor, "clock": fixed(self.now)}
        sure(draw_for_line, key=uuid.uuid4(), **given)

    def bring_back(self, line: Line, quantity: str) -> None:
        given = {"line": line, "quantity": D(quantity), "actor": self.actor, "clock": fixed(self.now)}
        sure(return_from_line, key=uuid.uuid4(), **given)

    def finish(self, job: Job, odometer: int = 88414) -> Job:
        """Say what was done on every authorized operation, and finish."""
        for operation in authorized(job):
            edit_operation(
                operation=operation, fields={"correction": "Done as written."}, actor=self.actor, clock=fixed(self.now)
            )
        return look_and_finish(job=job, odometer_out=Odometer(odometer, "mi"), actor=self.actor, clock=fixed(self.now))

    def done(self, *operations: list[dict[str, Any]], customer: Customer | None = None, **more: Any) -> Job:
        """A job all of whose work was authorized and done, ready to be invoiced; from the shelf as written."""
        job = self.job(*operations, customer=customer, **more)
        self.authorize(self.estimate(job))
        self.into_bay(job)
        for line in Line.objects.filter(operation__job=job, item__isnull=False):
            self.draw(line, str(line.quantity))
        return self.finish(job)

    def issue(self, job: Job, **more: Any) -> Invoice:
        return invoices.issue(
            **{"key": uuid.uuid4(), "job": job, "actor": self.actor, "clock": fixed(self.now), **more}
        )

    def credit(self, invoice: Invoice, **more: Any) -> Invoice:
        given = {"key": uuid.uuid4(), "reason": "Wrong line", "actor": self.actor, "clock": fixed(self.now), **more}
        return invoices.credit(invoice=invoice, **given)

    def pay(self, invoice: Invoice, amount: str, **more: Any) -> Payment:
        given = {"key": uuid.uuid4(), "method": "card", "actor": self.actor, "clock": fixed(self.now), **more}
        return payments.take_payment(invoice=invoice, amount=D(amount), **given)

    def deposit(self, job: Job, amount: str, **more: Any) -> Payment:
        return payments.take_deposit(job=job, amount=D(amount), **self.money(**more))

    def on_account(self, customer: Customer, amount: str, **more: Any) -> Payment:
        return payments.take_on_account(customer=customer, amount=D(amount), **self.money(**more))

    def refund(self, place: Place, amount: str, **more: Any) -> Payment:
        return payments.refund(place=place, amount=D(amount), **self.money(reason="as agreed", **more))

    def reverse(self, payment: Payment, reason: str = "The check bounced.", **more: Any) -> Payment:
        who = {"key": uuid.uuid4(), "actor": self.actor, "clock": fixed(self.now), **more}
        return payments.reverse_payment(payment=payment, reason=reason, **who)

    def move(self, source: Place, target: Place, amount: str, **more: Any) -> Allocation:
        who = {"key": uuid.uuid4(), "actor": self.actor, "clock": fixed(self.now), **more}
        return payments.move_money(source=source, target=target, amount=D(amount), **who)

    def money(self, **more: Any) -> dict[str, Any]:
        """How money changes hands unless a test says otherwise."""
        return {"key": uuid.uuid4(), "method": "card", "actor": self.actor, "clock": fixed(self.now), **more}


def broken() -> list[str]:
    """What `books_check` names."""
    return [sentence for _promise, found in promises.run() for sentence in found]
