"""What the books promise, checked from the stored rows alone: each check yields a sentence for every breach."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import islice

from django.db.models import Count, Max, Prefetch, Q, QuerySet, Sum

from garage import ledger, promises
from garage.models import AuditEntry, ClockNote, Counter
from invoicing import consents, freezing, queries
from invoicing.actions.authorizations import content_seal
from invoicing.actions.estimates import WROTE
from invoicing.models import (
    Authorization,
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
from invoicing.totals import line_net
from jobs import consent_words
from jobs import queries as jobs_queries
from jobs.consent import Record, consent_from, excess_of
from jobs.models import Job, Line
from jobs.offers import Work
from jobs.sold import sold
from parts.queries import ever_one

ZERO = Decimal("0.00")
CHUNK = 500
#: How many invoices a job has, taken back or not.
INVOICES = Count("invoices", filter=Q(invoices__kind=Invoice.Kind.INVOICE))


def register() -> None:
    """Tell `books_check` every promise of the books."""
    promises.register("invoices add up: lines to operations, operations and taxes to the total", sums_hold)
    promises.register("the cost of what was used is borne once over invoices and credits", costs_count_once)
    promises.register("invoices are what was sealed, person included", invoices_sealed)
    promises.register("invoice numbers run without gap or duplicate in each series", numbers_run)
    promises.register("what was billed was authorized, and no operation above its limit", billed_was_authorized)
    promises.register("papers are dated in the order of their numbers, or the owner answered for it", dates_run)
    promises.register("papers, payments and what is owed are in one currency", one_currency)
    promises.register("two rates of one tax on one class never overlap", rates_apart)
    promises.register("no work of a job stands on two invoices", billed_once)
    promises.register("authorizations are what was sealed, and so are their estimates", authorizations_sealed)
    promises.register("every estimate stands in the audit chain as it was written", estimates_in_the_chain)
    promises.register("what is owed equals invoices less credits less payments", receivables_add_up)
    promises.register("the chain of invoices is whole", lambda: ledger.breaks(Invoice))
    promises.register("the chain of authorizations is whole", lambda: ledger.breaks(Authorization))


def _invoices() -> QuerySet[Invoice]:
    operations = InvoiceOperation.objects.prefetch_related("lines")
    return (
        Invoice.objects.select_related("person", "corrects")
        .prefetch_related(Prefetch("operations", operations), "taxes")
        .order_by("pk")
    )


def sums_hold() -> Iterator[str]:
    """Every line of an invoice is its printed quantity times its printed price, every sum the sum of its rows."""
    for invoice in _invoices().iterator(chunk_size=CHUNK):
        operations = list(invoice.operations.all())
        for operation in operations:
            for line in operation.lines.all():
                comes_to = line_net(line.quantity, line.unit_price, line.discount)
                # The last credit of a line takes what is left of it, with the cents that earlier credits rounded.
                if line.credits_id is None and comes_to != line.net:
                    yield f"{invoice}: “{line}” says {line.net}, its quantity times its price comes to {comes_to}"
            lines = sum((line.net for line in operation.lines.all()), ZERO)
            if lines != operation.net:
                yield f"{invoice}: “{operation}” says {operation.net}, its lines come to {lines}"
        net = sum((operation.net for operation in operations), ZERO)
        tax = sum((row.tax for row in invoice.taxes.all()), ZERO)
        if (net, tax) != (invoice.net, invoice.tax):
            yield f"{invoice}: says {invoice.net} and {invoice.tax} tax, its rows come to {net} and {tax}"


def costs_count_once() -> Iterator[str]:
    """Over its invoices and credits a line bears the cost of what is out of the shelf for it once, or not at all.

    Not at all: it was credited for a new invoice, and is not on one that stands.
    """
    borne: dict[int, Decimal] = defaultdict(Decimal)
    rows = InvoiceLine.objects.filter(line__isnull=False).values_list("line_id", "cost")
    for key, cost in rows.order_by("pk").iterator(chunk_size=2000):
        borne[key] += cost
    for start in range(0, len(keys := sorted(borne)), CHUNK):
        chunk = keys[start : start + CHUNK]
        used = jobs_queries.used(Line.objects.filter(pk__in=chunk))
        for key in chunk:
            out = used[key].cost if key in used else ZERO
            if borne[key] not in (out, ZERO):
                yield f"line {key}: invoices and credits bear a cost of {borne[key]}, {out} is out of the shelf"


def invoices_sealed() -> Iterator[str]:
    """The seal over an invoice's rows, and the one over its customer's data, are still those it was issued with."""
    for invoice in _invoices().iterator(chunk_size=CHUNK):
        billed = [(row, row.lines.all()) for row in invoice.operations.all()]
        if freezing.invoice_seal(billed, invoice.taxes.all()) != invoice.content_sha256:
            yield f"{invoice}: its lines or taxes are not those that were sealed"
        if not invoice.person.matches(invoice.person_seal):
            yield f"{invoice}: the customer's name or address was changed behind it"


def dates_run() -> Iterator[str]:
    """No paper is dated before one that was issued earlier, unless the owner answered for the clock then."""
    answered = ClockNote.objects.filter(kind=ClockNote.Kind.BACK).aggregate(until=Max("until"))["until"]
    latest = dt.date.min
    rows = Invoice.objects.order_by("chain_seq").values_list("label", "issued_on")
    for label, issued_on in rows.iterator(chunk_size=2000):
        if issued_on < latest and (answered is None or answered < latest):
            yield f"{label} is dated {issued_on}, one issued before it {latest}, and nobody answered for it"
        latest = max(latest, issued_on)


def one_currency() -> Iterator[str]:
    """Every paper, payment and receivable is in the currency of the job's first paper: the shop's own."""
    known = {
        currency
        for model in (Estimate, Invoice, Payment, Receivable)
        for currency in model._default_manager.order_by().values_list("currency", flat=True).distinct()
    }
    if len(known) > 1:
        yield f"papers and payments are in {', '.join(sorted(known))}: a book has one currency"


def rates_apart() -> Iterator[str]:
    """Two rates of one tax on one class never hold on the same day."""
    before: TaxRate | None = None
    for row in TaxRate.objects.select_related("tax").order_by("tax", "tax_class", "valid_from"):
        same = before is not None and (before.tax_id, before.tax_class) == (row.tax_id, row.tax_class)
        if before is not None and same and (before.valid_to is None or before.valid_to >= row.valid_from):
            yield f"{before} and {row} on {row.get_tax_class_display()} both hold on {row.valid_from}"
        before = row


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
    """Each operation of an invoice was authorized when it was issued, up to its amount and with the same parts.

    Worked out anew from the sealed records before the invoice, by their sequence: no clock is asked.
    """
    things = ever_one()
    rows = Invoice.objects.filter(kind=Invoice.Kind.INVOICE, job__isnull=False).prefetch_related("operations__lines")
    invoices = rows.order_by("pk").iterator(chunk_size=CHUNK)
    while chunk := list(islice(invoices, CHUNK)):
        given: dict[int | None, list[Record]] = {}
        for row in consents.authorizations().filter(job__in=[invoice.job_id for invoice in chunk]):
            given.setdefault(row.job_id, []).append(consents.record_of(row, things))
        several = _of_jobs_with_several(chunk)
        for invoice in chunk:
            before = _standing_before(invoice, several.get(invoice.job_id, []))
            yield from _beyond_consent(invoice, before, given.get(invoice.job_id, []), things)


def _of_jobs_with_several(chunk: Sequence[Invoice]) -> dict[int | None, list[Invoice]]:
    """The papers of those jobs that have more than one invoice, in their order, by job."""
    jobs = {invoice.job_id for invoice in chunk if invoice.job_id is not None}
    several = Job.objects.filter(pk__in=jobs).alias(many=INVOICES).filter(many__gt=1)
    papers: dict[int | None, list[Invoice]] = defaultdict(list)
    for paper in Invoice.objects.filter(job__in=several).prefetch_related("operations__lines").order_by("pk"):
        papers[paper.job_id].append(paper)
    return papers


def _standing_before(invoice: Invoice, papers: list[Invoice]) -> list[Invoice]:
    """The job's invoices that stood when this one was issued."""
    return [
        paper
        for paper in papers
        if paper.kind == Invoice.Kind.INVOICE
        and paper.pk < invoice.pk
        and not _taken_back_before(paper, invoice, papers)
    ]


def _beyond_consent(
    invoice: Invoice, before: list[Invoice], given: list[Record], things: Mapping[int, int]
) -> Iterator[str]:
    if invoice.consent == Invoice.Consent.SALE:
        bill = _work_on([invoice], things)
        for excess in excess_of(sold(bill), bill):
            yield f"{invoice}: a counter sale with work on it. {consent_words.excess(excess)}"
        return
    records = [row for row in given if row.seq <= invoice.consent_seq]
    if not records or records[-1].seq != invoice.consent_seq:
        yield f"{invoice}: the authorization it was issued on is not there"
    bill, earlier = _work_on([invoice], things), _work_on(before, things)
    billed = {work.operation for work in bill}
    for excess in excess_of(consent_from(records, [*earlier, *bill]), [*earlier, *bill]):
        if excess.operation in billed:
            yield f"{invoice}: {consent_words.excess(excess)}"


def _work_on(invoices: Iterable[Invoice], things: Mapping[int, int]) -> list[Work]:
    """What invoices bill, what they take off for advance invoices below zero."""
    rows = [row for invoice in invoices for row in invoice.operations.all()]
    return [consents.billed_work(row, things) for row in rows]


def billed_once() -> Iterator[str]:
    """No work stands on two invoices of its job: the first was taken back whole before it was billed again."""
    several = Job.objects.alias(many=INVOICES).filter(many__gt=1)
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
        offered = [(row, row.lines.all()) for row in estimate.operations.all()]
        if freezing.estimate_seal(estimate, offered) != estimate.content_sha256:
            yield f"{estimate}: it is not what was written"
        if not estimate.person.matches(estimate.person_seal):
            yield f"{estimate}: the customer's name or address was changed behind it"
    records = Authorization.objects.select_related("estimate", "person", "job").prefetch_related("operations")
    for record in records.order_by("pk").iterator(chunk_size=CHUNK):
        if record.estimate_seal != record.estimate.content_sha256:
            yield f"{record} ({record.pk}): it was given on another estimate than it names"
        if content_seal(record.estimate, list(record.operations.order_by("pk"))) != record.content_sha256:
            yield f"{record} ({record.pk}): its decisions are not those that were sealed"
        if not record.person.matches(record.person_seal):
            yield f"{record} ({record.pk}): the name or number was changed behind it"


def estimates_in_the_chain() -> Iterator[str]:
    """Each estimate has the seal that the audit chain got when it was written, and none that it names is gone.

    An estimate that nobody authorized is in no other chain: without this it could be exchanged, seal and all.
    """
    entries = AuditEntry.objects.filter(verb=WROTE, record__startswith="invoicing.estimate:").order_by("pk")
    rows = entries.values_list("record", "details").iterator(chunk_size=2000)
    written = {int(record.rpartition(":")[2]): details.get("sha256") for record, details in rows}
    for estimate in Estimate.objects.select_related("job").order_by("pk").iterator(chunk_size=2000):
        if written.pop(estimate.pk, None) != estimate.content_sha256:
            yield f"{estimate}: its seal is not the one in the audit chain"
    for key in written:
        yield f"estimate {key} was written, and it is gone"


def receivables_add_up() -> Iterator[str]:
    """What is owed on each invoice is its gross, plus its credit notes (below zero), less what was paid."""
    paid = dict(PaymentPart.objects.values("invoice").annotate(sum=Sum("amount")).values_list("invoice", "sum"))
    credits = Invoice.objects.filter(kind=Invoice.Kind.CREDIT_NOTE)
    credited = dict(credits.values("corrects").annotate(sum=Sum("gross")).values_list("corrects", "sum"))
    invoices = Invoice.objects.exclude(kind=Invoice.Kind.CREDIT_NOTE).select_related("receivable").order_by("pk")
    for invoice in invoices.iterator(chunk_size=2000):
        owed = invoice.gross + credited.get(invoice.pk, ZERO) - paid.get(invoice.pk, ZERO)
        kept = invoice.receivable if hasattr(invoice, "receivable") else None
        if kept is None:
            yield f"{invoice}: nothing says what is owed on it; {owed} should be"
        elif (kept.balance, kept.customer_id, kept.due_on) != (owed, invoice.customer_id, invoice.due_on):
            yield f"{invoice}: {kept.balance} stands as owed, {owed} is"
    for stray in Receivable.objects.filter(invoice__kind=Invoice.Kind.CREDIT_NOTE):
        yield f"{stray.invoice}: a credit note has something owed on itself"
