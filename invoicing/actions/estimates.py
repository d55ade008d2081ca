"""Writing an estimate: a frozen, sealed revision of what the job's sheet offers."""

import datetime as dt
from decimal import Decimal
from itertools import chain

from garage import audit, documents, shop
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.ledger import aside, put_aside
from garage.models import Customer, Document, OutgoingMail, User
from garage.money import spoken
from garage.writing import writing
from invoicing import charges, comparing, freezing, letters, queries
from invoicing.actions.mailing import send
from invoicing.models import Estimate, EstimateLine, EstimateOperation
from invoicing.sums import ClassRate, OperationCharges, Sums, shares_of_tax
from jobs import queries as jobs_queries
from jobs import stages
from jobs.actions.stages import move
from jobs.actions.writing_up import save_line
from jobs.amounts import base_unit, charged_quantity
from jobs.consent import Consent
from jobs.models import Job

DRAFTABLE = stages.OPEN
#: What the audit chain calls it: its entry holds the seal of the estimate, authorized by anybody or not.
WROTE = "wrote"


@writing()
def write_estimate(*, job: Job, actor: User | None, clock: Clock) -> Estimate:
    """Freeze the sheet as the next revision, ask for its PDF, and let the job wait for its customer.

    When the last revision still says the same and is valid, that one is returned. Raises Refused for an empty sheet,
    an operation without a line, a job whose work is over, and a tax class without a rate.
    """
    now = clock()
    job = jobs_queries.sheets().get(pk=job.pk)
    if job.stage not in DRAFTABLE:
        raise Refused(f"{job} is {job.get_stage_display()}: there is nothing to estimate any more.")
    consent = charges.consent_on(job, shop.day_of(now))
    offered = charges.operation_charges(job, consent)
    _something_to_offer(offered)
    before = queries.latest_estimate(job)
    sums = charges.job_totals(job, shop.day_of(now))
    if before is not None and still_says(before, job, offered, sums, now):
        return before
    estimate = _freeze(job, before, offered, sums, consent, actor, now)
    _wanted_paper(estimate, now)
    if consent.asks:
        move(job, stages.AWAITING, waits_for=job.customer.name, actor=actor, clock=fixed(now))
    seal = estimate.content_sha256
    audit.record(WROTE, estimate, actor=actor, now=now, net=str(sums.net), gross=str(sums.gross), sha256=seal)
    return estimate


def _something_to_offer(offered: list[OperationCharges]) -> None:
    if not offered:
        raise Refused("Write at least one operation on the sheet before its estimate.")
    for operation in offered:
        if not operation.charges:
            raise Refused(f"“{operation.title}” has no line yet: write its labor or parts, at 0.00 if it is free.")


def still_says(estimate: Estimate, job: Job, offered: list[OperationCharges], sums: Sums, now: dt.datetime) -> bool:
    """Whether a revision is what would be written now: the same work, prices, taxes and promise, and still valid."""
    return (
        estimate.valid_until >= shop.day_of(now)
        and (estimate.promised_at, estimate.concern) == (job.promised_at, job.concern)
        and (estimate.net, estimate.taxes) == (sums.net, freezing.taxes_on_paper(sums))
        and comparing.same_offer(charges.as_offered(estimate), offered)
    )


def _freeze(
    job: Job,
    before: Estimate | None,
    offered: list[OperationCharges],
    sums: Sums,
    consent: Consent,
    actor: User | None,
    now: dt.datetime,
) -> Estimate:
    profile, today = shop.profile(), shop.day_of(now)
    person = freezing.person_on_paper(job.customer, now)
    exempt = job.customer.exempt_on(today)
    rates = queries.rates_on(today)
    estimate = Estimate(
        job=job,
        revision=before.revision + 1 if before else 1,
        job_version=job.version,
        person=person,
        person_seal=person.seal(),
        shop=freezing.shop_on_paper(profile),
        odometer_text=freezing.odometer_on_paper(job.odometer_in),
        parts_wish=freezing.PARTS_WISH[job.parts_wish],
        consent_seq=consent.seq,
        written_at=now,
        written_by=actor,
        valid_until=today + dt.timedelta(days=profile.estimate_days),
        promised_at=job.promised_at,
        changes="\n".join(changes_since(before, job, offered, sums)) if before else "",
        limit_with_tax=profile.limit_with_tax and job.customer.kind != Customer.Kind.COMPANY,
        taxes=freezing.taxes_on_paper(sums),
        rates=freezing.rates_on_paper(rates),
        currency=profile.currency,
        **aside(
            order_number=job.order_number,
            concern=job.concern,
            exemption=freezing.exemption_on_paper(job.customer, exempt),
        ),
        **freezing.vehicle_on_paper(job.vehicle),
        **freezing.sums_on_paper(sums),
    )
    taxes = _taxes(offered, sums, job.customer, rates, today)
    operations = [_operation(row, tax, estimate) for row, tax in zip(offered, taxes, strict=True)]
    lines = [
        [
            EstimateLine(estimate_operation=frozen, line_id=charge.line, **columns)
            for charge, columns in zip(row.charges, freezing.lines_on_paper(row.charges), strict=True)
        ]
        for frozen, row in zip(operations, offered, strict=True)
    ]
    put_aside([estimate, *operations, *chain(*lines)], now=now)
    estimate.content_sha256 = freezing.estimate_seal(estimate, zip(operations, lines, strict=True))
    estimate.save(force_insert=True)
    for frozen in operations:
        frozen.save(force_insert=True)
    EstimateLine.objects.bulk_create(chain(*lines))
    return estimate


def _taxes(
    offered: list[OperationCharges], sums: Sums, customer: Customer, rates: list[ClassRate], on: dt.date
) -> list[Decimal]:
    """The share of the paper's taxes that each operation bears; an alternative beside the total bears its own."""
    shares = iter(shares_of_tax([row for row in offered if row.counted], sums.taxes))
    return [next(shares) if row.counted else charges.sums_of(row.charges, customer, rates, on).tax for row in offered]


def _operation(row: OperationCharges, tax: Decimal, estimate: Estimate) -> EstimateOperation:
    return EstimateOperation(
        estimate=estimate,
        operation_id=row.operation,
        position=row.position,
        title=row.title,
        counted=row.counted,
        net=row.net,
        gross=row.net + tax,
        **aside(concern=row.concern, cause=row.cause),
    )


def changes_since(before: Estimate, job: Job, offered: list[OperationCharges], sums: Sums) -> list[str]:
    """What a new revision says about the one before: additions, changes, and the revised total."""
    said = comparing.what_changed(charges.as_offered(before), offered)
    if before.promised_at != job.promised_at:
        zone = shop.profile().time_zone
        said.append(f"Promised for {freezing.said_promise(job.promised_at, zone) or 'no day'}.")
    difference = sums.gross - before.gross
    said.append(
        f"Total with tax {spoken(sums.gross)} instead of {spoken(before.gross)}: {comparing.more_or_less(difference)}."
    )
    return said


@writing()
def revise_to_used(*, job: Job, actor: User | None, clock: Clock) -> Estimate:
    """Bring the lines of which more was drawn than is written up to what was drawn, and write a revised estimate.

    The way out when an invoice would exceed what was authorized: the customer is asked about the difference.
    """
    now = clock()
    job = jobs_queries.sheets().get(pk=job.pk)
    lines = [line for operation in charges.done(job) for line in operation.lines.all() if line.item_id]
    used = jobs_queries.used(lines)
    for line in lines:
        drawn = used.get(line.pk, jobs_queries.NOTHING).quantity
        if drawn > line.base_quantity:
            quantity = charged_quantity(drawn, base_unit(line.unit), line.unit)
            fields = {"quantity": quantity, "base_quantity": drawn, "typed": ""}
            save_line(operation=line.operation, line=line, fields=fields, actor=actor, clock=fixed(now))
    return write_estimate(job=job, actor=actor, clock=fixed(now))


@writing()
def mail_estimate(*, estimate: Estimate, to: str, actor: User, clock: Clock) -> OutgoingMail:
    """Put the estimate with its PDF into the outbox; the same address again gives the mail that is there."""
    now = clock()
    letter, name = letters.estimate_letter(estimate), str(estimate.person.data.get("name", ""))
    return send("estimate", estimate, to, letter, [_wanted_paper(estimate, now)], actor, now, name=name)


def _wanted_paper(estimate: Estimate, now: dt.datetime) -> Document:
    """Ask for the PDF; it is made once."""
    return documents.want("estimate", estimate.pk, name=f"Estimate {estimate.label}.pdf", clock=fixed(now))
