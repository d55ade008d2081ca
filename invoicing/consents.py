"""The sealed estimates and authorizations as consent reads them: one record a sealed row, in the order of the chain."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from decimal import Decimal

from django.db.models import Prefetch, QuerySet

from invoicing.models import (
    Authorization,
    AuthorizationOperation,
    Estimate,
    EstimateLine,
    EstimateOperation,
    Invoice,
    InvoiceLine,
    InvoiceOperation,
)
from invoicing.models.papers import PaperLine
from invoicing.sums import OUTSIDE
from jobs import consents
from jobs.consent import Consent, Record, Said, consent_from
from jobs.offers import Line, Offer, Tax, Work


def register() -> None:
    """Let the jobs ask here."""
    consents.register(records_of)


def records_of(jobs: Collection[int]) -> dict[int, list[Record]]:
    """The records of each of these jobs, by the job's primary key, in three queries."""
    found: dict[int, list[Record]] = defaultdict(list)
    for row in authorizations().filter(job__in=jobs):
        found[row.job_id].append(record_of(row))
    return found


def as_written(estimate: Estimate) -> Consent:
    """What stood authorized when a revision was written, held against what it offers; all else on it asks."""
    seq = estimate.consent_seq
    records = [row for row in records_of([estimate.job_id]).get(estimate.job_id, []) if row.seq <= seq]
    offers = [offer_of(row, estimate) for row in estimate.operations.all() if row.operation_id is not None]
    return consent_from(records, [Work(row.operation, row.title, row.lines, offered_again_after=seq) for row in offers])


def authorizations() -> QuerySet[Authorization]:
    """Authorizations with all that consent asks of them, in the order of their chain."""
    lines = Prefetch("estimate_operation__lines", EstimateLine.objects.select_related("item", "side"))
    decided = AuthorizationOperation.objects.select_related("estimate_operation", "side").prefetch_related(lines)
    return (
        Authorization.objects.select_related("estimate__job", "estimate__side")
        .prefetch_related(Prefetch("operations", decided))
        .order_by("chain_seq")
    )


def record_of(row: Authorization, things: Mapping[int, int] | None = None) -> Record:
    """One sealed record; `things` says which items count as one, where it is not today's chains that do."""
    said = [
        Said(offer_of(decided.estimate_operation, row.estimate, things), decided.decision, decided.reason)
        for decided in row.operations.all()
        if decided.estimate_operation.operation_id is not None
    ]
    return Record(row.chain_seq, tuple(said), row.at, row.slack)


def offer_of(row: EstimateOperation, estimate: Estimate, things: Mapping[int, int] | None = None) -> Offer:
    """One operation as a revision of the estimate offered it."""
    assert row.operation_id is not None
    return Offer(
        operation=row.operation_id,
        title=row.title,
        lines=tuple(line_on_paper(line, line.line_id, things) for line in row.lines.all()),
        label=estimate.label,
        seal=estimate.content_sha256,
        row=row.pk,
        taxes=sealed_taxes(estimate),
        exempt=bool(estimate.exemption),
        with_tax=estimate.limit_with_tax,
    )


def billed(invoices: Collection[Invoice], things: Mapping[int, int] | None = None) -> list[Work]:
    """The work that some invoices bill, as consent looks at it; one query for them all, and none without any."""
    if not invoices:
        return []
    lines = Prefetch("lines", InvoiceLine.objects.select_related("item", "side"))
    rows = InvoiceOperation.objects.filter(invoice__in=invoices, advance=None).order_by("pk")
    return [billed_work(row, things) for row in rows.select_related("invoice").prefetch_related(lines)]


def billed_work(row: InvoiceOperation, things: Mapping[int, int] | None = None) -> Work:
    """An operation of an invoice, as consent looks at it; an invoice without tax asks nothing about exemption.

    (Its certificate stands beside it and may be erased; its tax may not.)
    """
    lines = tuple(line_on_paper(line, line.line_id, things) for line in row.lines.all())
    return Work(row.operation_id, row.title, lines, exempt=not row.invoice.tax)


def line_on_paper(line: PaperLine, key: int | None, things: Mapping[int, int] | None = None) -> Line:
    """A line of an estimate or an invoice; `key` is the sheet's line behind it."""
    today = (line.item.current_id or line.item_id) if things is None and line.item is not None else line.item_id
    return Line(
        key=key,
        kind=line.kind,
        what=line.description,
        net=line.net,
        tax_class=line.tax_class,
        item=line.item_id,
        thing=things.get(line.item_id or 0, line.item_id) if things is not None else today,
        finer=line.finer,
        condition=line.condition,
        sublet_to=line.sublet_to,
        if_needed=line.if_needed,
    )


def sealed_taxes(estimate: Estimate) -> tuple[Tax, ...]:
    """The taxes of the day of an estimate, sealed with it, whether they were charged or not."""
    joined: dict[tuple[int, Decimal], set[str]] = defaultdict(set)
    for row in estimate.rates:
        rate = Decimal(0) if row["treatment"] == OUTSIDE else Decimal(row["rate"])
        joined[row["tax"], rate].add(row["tax_class"])
    return tuple(Tax(rate, frozenset(classes)) for (_tax, rate), classes in joined.items())
