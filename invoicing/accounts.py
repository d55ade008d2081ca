"""Where a customer's money stands: on an invoice, on a job as a deposit, or on their account as credit.

What stands at a place is the sum of its signed parts; nothing is kept beside them that could differ.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from django.db.models import Prefetch, Q, QuerySet, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from garage.models import Customer
from garage.money import spoken
from invoicing import queries
from invoicing.models import Allocation, Invoice, Payment, PaymentPart, Receivable
from jobs.models import Job

ZERO = Decimal("0.00")
ON_ACCOUNT = Q(invoice=None, job=None)


@dataclass(frozen=True)
class Place:
    """Somewhere money can stand: with neither an invoice nor a job it is the customer's account."""

    customer: Customer
    invoice: Invoice | None = None
    job: Job | None = None

    @property
    def parts(self) -> QuerySet[PaymentPart]:
        """Everything that was ever put there or taken from there."""
        if self.invoice is not None or self.job is not None:
            return PaymentPart.objects.filter(invoice=self.invoice, job=self.job)
        return PaymentPart.objects.filter(ON_ACCOUNT, customer__in=self.customer.same())

    def part(self, amount: Decimal) -> PaymentPart:
        """A new part at this place; the act it belongs to is set by whoever writes it."""
        return PaymentPart(customer=self.customer, invoice=self.invoice, job=self.job, amount=amount)


def on_invoice(invoice: Invoice) -> Place:
    """The place of what is paid on an invoice."""
    return Place(invoice.customer, invoice=invoice)


def on_job(job: Job) -> Place:
    """The place of a job's deposit."""
    return Place(job.customer, job=job)


def on_account(customer: Customer) -> Place:
    """The place of a customer's credit."""
    return Place(customer)


def standing(place: Place) -> Decimal:
    """What stands at a place; below zero on an account the customer owes it (money on it never arrived)."""
    return place.parts.aggregate(sum=Sum("amount"))["sum"] or ZERO


def owed(invoice: Invoice) -> Decimal:
    """What is owed on an invoice; below zero it is overpaid, and always zero on a credit note."""
    return Receivable.objects.filter(invoice=invoice).values_list("balance", flat=True).first() or ZERO


def refundable(place: Place) -> Decimal:
    """How much may be given back from a place: of an invoice only what it is overpaid by."""
    free = -owed(place.invoice) if place.invoice is not None else standing(place)
    return max(ZERO, free)


def movable(place: Place) -> Decimal:
    """How much may be moved from a place: of an invoice all that was paid on it."""
    return max(ZERO, standing(place))


class Held(NamedTuple):
    """The money of one payment that stands at a place, by its key, and for which customer.

    That is another row than the place's own where two customers are one: what goes from there goes from that row.
    """

    payment: int
    customer: int


def money_at(place: Place) -> list[tuple[Held, Decimal]]:
    """Whose money stands at a place, with its sum, the first received first."""
    rows = place.parts.annotate(source=Coalesce("of", "payment")).values("source", "customer")
    rows = rows.annotate(sum=Sum("amount")).exclude(sum=0).order_by("source", "customer")
    return [(Held(row["source"], row["customer"]), row["sum"]) for row in rows]


def places_of(payment: Payment) -> list[tuple[Place, Decimal]]:
    """Where the money of a payment stands now, the place it reached first before the others.

    The accounts of two customers who are one are two: what is taken from there goes from the row it stands in, or
    parting them would leave money on one that the other owes.
    """
    rows = PaymentPart.objects.filter(Q(payment=payment, of=None) | Q(of=payment))
    sums: dict[Place, Decimal] = {}
    for part in rows.select_related("customer", "invoice__customer", "job__customer").order_by("pk"):
        place = Place(part.customer, part.invoice, part.job)
        sums[place] = sums.get(place, ZERO) + part.amount
    return [(place, amount) for place, amount in sums.items() if amount]


def last_method(place: Place) -> str:
    """How the money that stands at a place was paid, the last of it; empty where nothing stands."""
    held = [source for source, amount in money_at(place) if amount > 0]
    return Payment.objects.get(pk=held[-1].payment).method if held else ""


def take(held: Sequence[tuple[Held, Decimal]], amount: Decimal) -> list[tuple[Held, Decimal]]:
    """Take an amount out of the money of several payments, the first received first. Pure."""
    taken: list[tuple[Held, Decimal]] = []
    for source, there in held:
        part = min(there, amount)
        if part > 0:
            taken.append((source, part))
            amount -= part
    return taken


# What pages show


def credit_of(customer: Customer) -> Decimal:
    """The credit on a customer's account; below zero they owe it."""
    return standing(on_account(customer))


def deposit_of(job: Job) -> Decimal:
    """The deposit that stands on a job."""
    return standing(on_job(job))


def standing_advances(job: Job) -> list[Invoice]:
    """The advance invoices of a job that no invoice takes off yet and no credit note took back, the first first."""
    rows = Invoice.objects.filter(job=job, kind=Invoice.Kind.ADVANCE, credit_notes=None)
    rows = rows.prefetch_related("operations__lines", "taxes").order_by("pk")
    return list(rows.exclude(taken_off__invoice__in=queries.standing_invoices(job)) if rows else rows)


def advanced(job: Job) -> Decimal:
    """What was invoiced in advance, tax included, and is to be taken off the final invoice."""
    return sum((row.gross for row in standing_advances(job)), ZERO)


def against_ending(job: Job) -> str:
    """Why a job cannot end without an invoice yet: nobody has said what becomes of its deposit. Empty when it can."""
    for advance in standing_advances(job):
        return _("%(paper)s is open on %(job)s: issue its credit memo first, then refund what was paid on it.") % {
            "paper": advance.title,
            "job": job,
        }
    there = deposit_of(job)
    return f"A deposit of {spoken(there)} stands on {job}: refund it or keep it as credit first." if there else ""


def accounts() -> list[tuple[Customer, Decimal]]:
    """Every account on which something stands, by name; two customers who are one have one."""
    rows = PaymentPart.objects.filter(ON_ACCOUNT).annotate(who=Coalesce("customer__standing", "customer")).values("who")
    sums = dict(rows.annotate(sum=Sum("amount")).exclude(sum=0).values_list("who", "sum"))
    return [(customer, sums[customer.pk]) for customer in Customer.objects.filter(pk__in=sums)]


def moves_on_account(customer: Customer) -> QuerySet[PaymentPart]:
    """Everything that came to a customer's account and went from it, the last first."""
    parts = on_account(customer).parts.select_related("payment", "allocation", "of")
    others = PaymentPart.objects.filter(~ON_ACCOUNT).select_related("invoice", "job")
    return parts.prefetch_related(Prefetch("allocation__parts", others, to_attr="elsewhere")).order_by("-pk")


def deposits(customer: Customer | None = None) -> list[tuple[Job, Decimal]]:
    """Every job on which a deposit stands, of one customer or of all, the oldest first."""
    there = PaymentPart.objects.filter(job__isnull=False)
    if customer is not None:
        there = there.filter(customer__in=customer.same())
    rows = there.values("job").annotate(sum=Sum("amount")).exclude(sum=0)
    sums = dict(rows.values_list("job", "sum"))
    jobs = Job.objects.filter(pk__in=sums).select_related("customer", "vehicle").order_by("pk")
    return [(job, sums[job.pk]) for job in jobs]


def balance_of(customer: Customer) -> Decimal:
    """The total balance due of a customer: what is owed on invoices, less the credit on the account."""
    return owed_in_all(customer) - credit_of(customer)


def owed_in_all(customer: Customer) -> Decimal:
    """What is owed on a customer's invoices."""
    return Receivable.objects.filter(customer__in=customer.same()).aggregate(sum=Sum("balance"))["sum"] or ZERO


def standing_of(customer: Customer) -> dict[str, Decimal]:
    """Total balance due and credit of a customer, by these names."""
    credit = credit_of(customer)
    return {"balance": owed_in_all(customer) - credit, "credit": credit}


def total_balance() -> Decimal:
    """The total balance due of all customers; deposits are a liability of their own and not in it."""
    due = Receivable.objects.aggregate(sum=Sum("balance"))["sum"] or ZERO
    credit = PaymentPart.objects.filter(ON_ACCOUNT).aggregate(sum=Sum("amount"))["sum"] or ZERO
    return due - credit


def applied_at_issue(invoice: Invoice) -> Decimal:
    """The deposit that was applied when an invoice was issued: what its paper prints, whatever happened since.

    What comes to an invoice from its own job comes when it is issued: after that no deposit stands there.
    """
    if invoice.job_id is None:
        return ZERO
    from_job = PaymentPart.objects.filter(job=invoice.job_id, amount__lt=0).values("allocation")
    applied = PaymentPart.objects.filter(invoice=invoice, allocation__in=from_job)
    return applied.aggregate(sum=Sum("amount"))["sum"] or ZERO


def paid_at_issue(invoice: Invoice) -> Payment | None:
    """The payment by which a counter sale was paid at once: what its paper prints, whatever happened since."""
    return Payment.objects.filter(parts__invoice=invoice, at=invoice.issued_at, amount__gt=0).first()


def from_deposits(invoice: Invoice) -> set[int]:
    """The acts that applied a deposit to an invoice, by their keys."""
    from_jobs = PaymentPart.objects.filter(job__isnull=False, amount__lt=0).values("allocation")
    return set(Allocation.objects.filter(parts__invoice=invoice, pk__in=from_jobs).values_list("pk", flat=True))


def paid_off_on(invoice: Invoice) -> dt.date | None:
    """The day of the last payment on an invoice on which nothing is owed; None while something is, or none was paid."""
    if owed(invoice) > 0:
        return None
    parts = PaymentPart.objects.filter(invoice=invoice, amount__gt=0)
    parts = parts.annotate(day=Coalesce("of__paid_on", "payment__paid_on"))
    return parts.order_by("-day").values_list("day", flat=True).first()


def owed_after(invoice: Invoice, payment: Payment) -> Decimal:
    """What was owed on an invoice right after a payment, by the order of the acts: what its receipt says."""
    notes = invoice.credit_notes.filter(chain_seq__lte=payment.papers_seq).aggregate(sum=Sum("gross"))["sum"] or ZERO
    last = payment.parts.order_by("-pk").values_list("pk", flat=True)[0]
    paid = PaymentPart.objects.filter(invoice=invoice, pk__lte=last).aggregate(sum=Sum("amount"))["sum"] or ZERO
    return invoice.gross + notes - paid
