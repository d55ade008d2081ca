"""What the books promise, checked from the stored rows alone: each check yields a sentence for every breach."""

from collections.abc import Iterator
from decimal import Decimal

from django.db.models import Count, F, Prefetch, Q, QuerySet, Sum

from garage import ledger, promises
from garage.models import Counter
from invoicing import freezing, queries
from invoicing.actions.authorizations import content_seal
from invoicing.models import (
    Authorization,
    Estimate,
    EstimateOperation,
    Invoice,
    InvoiceOperation,
    Payment,
    PaymentPart,
    Receivable,
)
from jobs.models import Job

ZERO = Decimal("0.00")
CHUNK = 500


def register() -> None:
    """Tell `books_check` every promise of the books."""
    promises.register("invoices add up: lines to operations, operations and taxes to the total", sums_hold)
    promises.register("invoices are what was sealed, person included", invoices_sealed)
    promises.register("invoice numbers run without gap or duplicate in each series", numbers_run)
    promises.register("what was billed was authorized, and not above the limit", billed_was_authorized)
    promises.register("no work of a job stands on two invoices", billed_once)
    promises.register("authorizations are what was sealed, and so are their estimates", authorizations_sealed)
    promises.register("what is owed equals invoices less credits less payments", receivables_add_up)
    promises.register("payments equal their parts, and go to their own customer's invoices", payments_add_up)
    promises.register("the chain of invoices is whole", lambda: ledger.breaks(Invoice))
    promises.register("the chain of authorizations is whole", lambda: ledger.breaks(Authorization))
    promises.register("the chain of payments is whole", lambda: ledger.breaks(Payment))


def _invoices() -> QuerySet[Invoice]:
    operations = InvoiceOperation.objects.prefetch_related("lines")
    return (
        Invoice.objects.select_related("person", "corrects")
        .prefetch_related(Prefetch("operations", operations), "taxes")
        .order_by("pk")
    )


def sums_hold() -> Iterator[str]:
    """Every sum on an invoice equals what it is the sum of."""
    for invoice in _invoices().iterator(chunk_size=CHUNK):
        operations = list(invoice.operations.all())
        for operation in operations:
            lines = sum((line.net for line in operation.lines.all()), ZERO)
            if lines != operation.net:
                yield f"{invoice}: “{operation}” says {operation.net}, its lines come to {lines}"
        net = sum((operation.net for operation in operations), ZERO)
        tax = sum((row.tax for row in invoice.taxes.all()), ZERO)
        if (net, tax) != (invoice.net, invoice.tax):
            yield f"{invoice}: says {invoice.net} and {invoice.tax} tax, its rows come to {net} and {tax}"


def invoices_sealed() -> Iterator[str]:
    """The seal over an invoice's rows, and the one over its customer's data, are still those it was issued with."""
    for invoice in _invoices().iterator(chunk_size=CHUNK):
        if freezing.invoice_seal(invoice) != invoice.content_sha256:
            yield f"{invoice}: its lines or taxes are not those that were sealed"
        if not invoice.person.matches(invoice.person_seal):
            yield f"{invoice}: the customer's name or address was changed behind it"


def numbers_run() -> Iterator[str]:
    """Each series runs 1, 2, 3 … up to its counter."""
    counters = dict(Counter.objects.filter(series__startswith="invoice:").values_list("series", "value"))
    expected = dict.fromkeys(counters, 1)
    rows = Invoice.objects.order_by("series", "number").values_list("series", "number")
    for series, number in rows.iterator(chunk_size=2000):
        if series not in expected:
            yield f"series {series} has numbers but no counter"
            expected[series] = 1
        if number != expected[series]:
            yield f"series {series} has {number} where {expected[series]} should stand"
        expected[series] = number + 1
    for series, value in counters.items():
        if expected[series] != value + 1:
            yield f"series {series} ends at {expected[series] - 1}, its counter says {value}"


def billed_was_authorized() -> Iterator[str]:
    """No invoice is above the limit that held when it was issued, and each of its operations was authorized then."""
    rows = Invoice.objects.filter(kind=Invoice.Kind.INVOICE, job__isnull=False).prefetch_related("operations")
    for invoice in rows.order_by("pk").iterator(chunk_size=CHUNK):
        given = list(
            Authorization.objects.filter(job=invoice.job_id, recorded_at__lte=invoice.issued_at)
            .prefetch_related("operations__estimate_operation")
            .order_by("pk")
        )
        if not given:
            yield f"{invoice}: nothing on its job was authorized"
            continue
        upto = Invoice.objects.filter(job=invoice.job_id, pk__lte=invoice.pk)
        billed = upto.aggregate(all=Sum("net"))["all"]  # with the invoices before it, less their credit notes
        if billed > given[-1].limit:
            yield f"{invoice}: bills {billed} on its job, {given[-1].limit} was authorized"
        decided = {
            row.estimate_operation.operation_id: row.decision for record in given for row in record.operations.all()
        }
        for operation in invoice.operations.all():
            if decided.get(operation.operation_id) != "authorized":
                yield f"{invoice}: “{operation}” was not authorized"


def billed_once() -> Iterator[str]:
    """No work stands on two invoices of its job: the first was taken back whole before it was billed again."""
    several = Job.objects.alias(many=Count("invoices", filter=Q(invoices__kind=Invoice.Kind.INVOICE))).filter(
        many__gt=1
    )
    for job in several.iterator(chunk_size=CHUNK):
        papers = list(Invoice.objects.filter(job=job).prefetch_related("operations").order_by("pk"))
        billed: dict[int, Invoice] = {}
        for paper in papers:
            if paper.kind != Invoice.Kind.INVOICE:
                continue
            for row in paper.operations.all():
                first = billed.get(row.operation_id or 0)
                if first is not None and not _taken_back_before(first, paper, papers):
                    yield f"{paper}: “{row}” stands on {first} already"
                if row.operation_id is not None:
                    billed[row.operation_id] = paper


def _taken_back_before(first: Invoice, second: Invoice, papers: list[Invoice]) -> bool:
    notes = [paper for paper in papers if paper.corrects_id == first.pk and paper.pk < second.pk]
    return queries.taken_back(first, notes)


def authorizations_sealed() -> Iterator[str]:
    """Estimates and authorizations, with the names beside them, are what they were when they were written."""
    operations = EstimateOperation.objects.prefetch_related("lines")
    estimates = Estimate.objects.select_related("person").prefetch_related(Prefetch("operations", operations))
    for estimate in estimates.select_related("job").order_by("pk").iterator(chunk_size=CHUNK):
        offered = list(estimate.operations.all())
        lines = [line for row in offered for line in row.lines.all()]
        if freezing.estimate_seal(estimate, offered, lines) != estimate.content_sha256:
            yield f"{estimate}: it is not what was written"
        if not estimate.person.matches(estimate.person_seal):
            yield f"{estimate}: the customer's name or address was changed behind it"
    records = Authorization.objects.select_related("estimate", "person", "job").prefetch_related("operations")
    for record in records.order_by("pk").iterator(chunk_size=CHUNK):
        if content_seal(record.estimate, list(record.operations.order_by("pk"))) != record.content_sha256:
            yield f"{record} ({record.pk}): its decisions are not those that were sealed"
        if not record.person.matches(record.person_seal):
            yield f"{record} ({record.pk}): the name or number was changed behind it"


def receivables_add_up() -> Iterator[str]:
    """What is owed on each invoice is its gross, plus its credit notes (below zero), less what was paid."""
    paid = dict(PaymentPart.objects.values("invoice").annotate(sum=Sum("amount")).values_list("invoice", "sum"))
    credits = Invoice.objects.filter(kind=Invoice.Kind.CREDIT_NOTE)
    credited = dict(credits.values("corrects").annotate(sum=Sum("gross")).values_list("corrects", "sum"))
    invoices = Invoice.objects.filter(kind=Invoice.Kind.INVOICE).select_related("receivable").order_by("pk")
    for invoice in invoices.iterator(chunk_size=2000):
        owed = invoice.gross + credited.get(invoice.pk, ZERO) - paid.get(invoice.pk, ZERO)
        kept = invoice.receivable if hasattr(invoice, "receivable") else None
        if kept is None:
            yield f"{invoice}: nothing says what is owed on it; {owed} should be"
        elif (kept.balance, kept.customer_id, kept.due_on) != (owed, invoice.customer_id, invoice.due_on):
            yield f"{invoice}: {kept.balance} stands as owed, {owed} is"
    for stray in Receivable.objects.filter(invoice__kind=Invoice.Kind.CREDIT_NOTE):
        yield f"{stray.invoice}: a credit note has something owed on itself"


def payments_add_up() -> Iterator[str]:
    """Every payment equals the sum of its parts, and each part goes to an invoice of the same customer."""
    for row in Payment.objects.annotate(parted=Sum("parts__amount")).exclude(parted=F("amount")):
        yield f"payment {row.pk} of {row.amount}: its parts come to {row.parted}"
    for payment in Payment.objects.filter(parts__isnull=True):
        yield f"payment {payment.pk} of {payment.amount} goes to no invoice"
    for part in PaymentPart.objects.exclude(payment__customer=F("invoice__customer")).select_related("invoice"):
        yield f"payment {part.payment_id}: a part goes to {part.invoice} of another customer"
    for payment in Payment.objects.filter(reverses__isnull=False).select_related("reverses"):
        if payment.reverses is not None and payment.amount != -payment.reverses.amount:
            yield f"payment {payment.pk} takes back {payment.amount}, {payment.reverses.amount} was received"
