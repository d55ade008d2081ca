"""Reads of the papers that are used twice or need a join."""

import datetime as dt
from collections.abc import Collection, Iterable, Sequence
from decimal import Decimal

from django.db.models import Case, Prefetch, Q, QuerySet, Sum, When
from django.db.models.functions import Coalesce, TruncDate

from garage.models import Customer, Document, OutgoingMail, Vehicle
from invoicing.models import (
    Authorization,
    AuthorizationOperation,
    Estimate,
    EstimateOperation,
    Invoice,
    InvoiceLine,
    InvoiceOperation,
    Payment,
    PaymentPart,
    Receivable,
    TaxRate,
)
from invoicing.sums import ClassRate
from jobs.models import Job, Operation

ZERO = Decimal("0.00")


# Taxes


def rates_on(day: dt.date) -> list[ClassRate]:
    """The tax rates in force on a day."""
    rows = TaxRate.objects.filter(Q(valid_to=None) | Q(valid_to__gte=day), valid_from__lte=day)
    return [
        ClassRate(row.tax_id, row.tax.name, row.tax_class, row.rate, row.treatment, row.reason)
        for row in rows.select_related("tax")
    ]


def why_currency_is_fixed() -> str:
    """Why the shop's currency can no longer be changed: figures of its papers would mean something else."""
    paper = Estimate.objects.order_by("pk").first() or Invoice.objects.order_by("pk").first()
    if paper is None:
        return ""
    return (
        f"{paper._meta.object_name} {paper.label} was written in {paper.currency}: the currency stays. "
        "A garage that changes its currency begins a new book."
    )


# Estimates and authorizations


def estimates() -> QuerySet[Estimate]:
    """Estimates with their operations and lines."""
    operations = EstimateOperation.objects.select_related("side").prefetch_related("lines__side")
    beside = ("job__customer", "job__vehicle", "person", "side", "written_by")
    return Estimate.objects.select_related(*beside).prefetch_related(Prefetch("operations", operations))


def latest_estimate(job: Job) -> Estimate | None:
    """The revision that counts now."""
    return estimates().filter(job=job).first()


def authorizations(job: Job) -> QuerySet[Authorization]:
    """What the job's customer decided, oldest first, with who and on what."""
    decided = AuthorizationOperation.objects.select_related("estimate_operation", "side")
    return (
        Authorization.objects.filter(job=job)
        .select_related("estimate__job", "person", "taken_by")
        .prefetch_related(Prefetch("operations", decided))
        .order_by("pk")
    )


def last_authorization(job: Job) -> Authorization | None:
    """The last authorization of a job."""
    return Authorization.objects.filter(job=job).select_related("person").order_by("-pk").first()


# Invoices and payments


def invoices() -> QuerySet[Invoice]:
    """Invoices and credit notes with what every list of them shows."""
    return Invoice.objects.select_related("customer", "job", "person", "side", "receivable", "corrects")


def sales() -> QuerySet[Invoice]:
    """What was sold over the counter, and what of it was credited."""
    return invoices().filter(consent=Invoice.Consent.SALE)


def whole_invoices() -> QuerySet[Invoice]:
    """The same with everything that is printed on them."""
    operations = InvoiceOperation.objects.select_related("side").prefetch_related("lines__side")
    return (
        invoices()
        .select_related("issued_by", "side", "job__customer", "job__vehicle", "corrects__receivable")
        .prefetch_related(Prefetch("operations", operations), "taxes", "credit_notes")
    )


def payments_of(invoice: Invoice) -> QuerySet[PaymentPart]:
    """What was paid on an invoice, moved to or off it, reversed and refunded, in the order of its days."""
    day = Coalesce("payment__paid_on", "of__paid_on")
    return (
        PaymentPart.objects.filter(invoice=invoice)
        .select_related("payment__by", "payment__side", "payment__reverses", "payment__reversed_by")
        .select_related("allocation__by", "of__reversed_by")
        .annotate(on_day=Case(When(allocation=None, then=day), default=TruncDate("allocation__at")))
        .order_by("on_day", "pk")
    )


def owed() -> QuerySet[Receivable]:
    """The invoices on which something is open, the longest due first."""
    rows = Receivable.objects.exclude(balance=0)
    return rows.select_related("invoice__person", "invoice__job", "customer").order_by("due_on", "pk")


def standing_invoices(job: Job) -> list[Invoice]:
    """The job's invoices that still stand, newest first: all but those that were taken back whole.

    More than one stands when finished work was left out of the first and billed later.
    """
    rows = Invoice.objects.filter(job=job, kind=Invoice.Kind.INVOICE).order_by("-pk")
    rows = rows.select_related("receivable").prefetch_related("credit_notes")  # asked by every act: not the whole paper
    return [row for row in rows if not taken_back(row)]


def taken_back(invoice: Invoice, notes: Iterable[Invoice] | None = None) -> bool:
    """Whether credit notes (None: all of its own) take an invoice back whole.

    By their sums, which stay when their words are erased.
    """
    notes = list(invoice.credit_notes.all() if notes is None else notes)
    sums = sum((row.gross for row in notes), ZERO), sum((row.net for row in notes), ZERO)
    return bool(notes) and sums == (-invoice.gross, -invoice.net)


def invoice_of(job: Job) -> Invoice | None:
    """The last of the job's invoices that still stand."""
    return next(iter(standing_invoices(job)), None)


def was_invoiced(job: Job) -> bool:
    """Whether an invoice of a job was ever issued, standing or taken back; a deposit's is none."""
    return Invoice.objects.filter(job=job, kind=Invoice.Kind.INVOICE).exists()


def costs_borne(lines: Collection[int]) -> dict[int, Decimal]:
    """What all papers bear of the cost of some lines of a sheet, by their keys, credit notes taken off; 0 is left out.

    A credit after which the job was not to be billed again leaves the cost of what did not come back with it.
    """
    rows = InvoiceLine.objects.filter(line_id__in=lines).order_by().values("line").annotate(borne=Sum("cost"))
    return dict(rows.exclude(borne=0).values_list("line", "borne"))


def operations_on(papers: Sequence[Invoice]) -> set[int]:
    """The operations of the sheet that some invoices bill; no query without any."""
    if not papers:
        return set()
    rows = InvoiceOperation.objects.filter(invoice__in=papers, operation__isnull=False)
    return set(rows.values_list("operation_id", flat=True))


def invoice_of_operation(operation: Operation) -> Invoice | None:
    """The standing invoice that bills an operation; one query where none ever did."""
    rows = InvoiceOperation.objects.filter(operation=operation, invoice__kind=Invoice.Kind.INVOICE).order_by("-pk")
    rows = rows.select_related("invoice").prefetch_related("invoice__credit_notes")
    return next((row.invoice for row in rows if not taken_back(row.invoice)), None)


def finished_and_unsettled(job: Job) -> QuerySet[Operation]:
    """The finished operations of a job that stand on no invoice, or on one that a credit note corrects."""
    plain = InvoiceOperation.objects.filter(
        invoice__job=job, invoice__kind=Invoice.Kind.INVOICE, invoice__credit_notes=None, operation__isnull=False
    )
    return job.operations.filter(finished_at__isnull=False).exclude(pk__in=plain.values("operation"))


def billed_operations(job: Job) -> set[int]:
    """The operations of the sheet that stand on an invoice already."""
    return operations_on(standing_invoices(job))


def billed_net(job: Job) -> Decimal:
    """What was billed for work on a job before tax, credit notes taken off; advance invoices are no work yet."""
    rows = InvoiceOperation.objects.filter(invoice__job=job, operation__isnull=False)
    return rows.aggregate(all=Sum("net"))["all"] or ZERO


def taking_off(advance: Invoice) -> QuerySet[Invoice]:
    """The invoices that take an advance invoice off, newest first; all but one were taken back."""
    return Invoice.objects.filter(operations__advance=advance, kind=Invoice.Kind.INVOICE)


def invoices_of_job(job: Job) -> QuerySet[Invoice]:
    """A job's invoices and credit notes, newest first."""
    return Invoice.objects.filter(job=job).select_related("receivable", "corrects").order_by("-pk")


def invoices_of(subject: Customer | Vehicle) -> QuerySet[Invoice]:
    """The papers of a customer or a vehicle, newest first."""
    by = {"customer__in" if isinstance(subject, Customer) else "job__vehicle__in": subject.same()}
    return invoices().filter(**by).order_by("-pk")


def payments() -> QuerySet[Payment]:
    """Payments with what a list of them shows."""
    return Payment.objects.select_related(
        "customer", "person", "by", "side", "reversed_by", "reverses"
    ).prefetch_related("parts__invoice__person", "parts__job")


# Papers and mail


def paper_of(kind: str, source: int) -> Document | None:
    """The PDF of an estimate or an invoice, made or wanted."""
    return Document.objects.filter(kind=kind, source=source).order_by("-version").first()


def mails_of(purpose: str, source: int) -> QuerySet[OutgoingMail]:
    """The mails that carried a paper, newest first."""
    return OutgoingMail.objects.filter(purpose=purpose, source=source).order_by("-pk")


def unsettled_mail() -> QuerySet[OutgoingMail]:
    """Mail that did not go out or perhaps did: a person must look."""
    State = OutgoingMail.State
    return OutgoingMail.objects.filter(state__in=[State.FAILED, State.UNCERTAIN]).order_by("-pk")


def waiting_mail() -> QuerySet[OutgoingMail]:
    """Mail that waits for its turn, or for a server to send it."""
    return OutgoingMail.objects.filter(state=OutgoingMail.State.QUEUED)
