"""What a customer decided, as sealed rows of the book: for tests that need the answer and not the way to it."""

import datetime as dt
from decimal import Decimal
from itertools import chain

from garage import audit
from garage.clock import fixed
from garage.ledger import append, aside, put_aside
from garage.models import SideRow, User
from garage.shop import profile
from invoicing import charges, freezing, queries
from invoicing.actions.authorizations import content_seal
from invoicing.actions.estimates import WROTE
from invoicing.models import Authorization, AuthorizationOperation, Estimate, EstimateLine, EstimateOperation
from invoicing.sums import OUTSIDE, ClassRate
from jobs import queries as jobs_queries
from jobs.actions.stages import settle
from jobs.consent import Standing
from jobs.consents import consent_of
from jobs.models import Job, Operation


def standing(operation: Operation) -> Standing:
    """How an operation stands with its customer now."""
    return consent_of(operation.job).of(operation.pk)


def state(operation: Operation) -> str:
    """Authorized, declined or undecided."""
    return standing(operation).state


def decide(
    *, operation: Operation, decision: str = "authorized", reason: str = "", actor: User | None, now: dt.datetime
) -> Authorization:
    """Put the customer's decision on one operation into the chain, on an estimate of the sheet as it is."""
    job = jobs_queries.sheets().get(pk=operation.job_id)
    person = SideRow.objects.create(data={"name": str(job.customer)}, written_at=now)
    estimate, offered = _estimate(job, person, now)
    row = AuthorizationOperation(
        estimate_operation=offered[operation.pk],
        decision=decision,
        net=offered[operation.pk].net,
        **aside(reason=reason),
    )
    put_aside([row], now=now)
    record = Authorization(
        job=job,
        estimate=estimate,
        estimate_seal=estimate.content_sha256,
        person=person,
        person_seal=person.seal(),
        capacity="customer",
        channel="in_person",
        at=now,
        zone="UTC",
        recorded_at=now,
        taken_by=actor,
        limit=row.net,
        limit_gross=row.net,
        text="Agreed.",
        content_sha256=content_seal(estimate, [row]),
    )
    row.authorization = append(record)
    row.save(force_insert=True)
    settle(job, actor=actor, clock=fixed(now))
    operation.job.refresh_from_db()
    return record


def _estimate(job: Job, person: SideRow, now: dt.datetime) -> tuple[Estimate, dict[int, EstimateOperation]]:
    before = queries.latest_estimate(job)
    zero = dict.fromkeys(("labor_net", "parts_net", "other_net", "net", "tax", "gross"), 0)
    estimate = Estimate(
        job=job,
        revision=before.revision + 1 if before else 1,
        job_version=job.version,
        person=person,
        person_seal=person.seal(),
        shop={},
        currency=profile().currency,
        rates=freezing.rates_on_paper(
            ClassRate(1, "Sales tax", name, Decimal(0), OUTSIDE) for name in ("parts", "labor", "sublet", "charge")
        ),
        written_at=now,
        valid_until=now.date() + dt.timedelta(days=30),
        **zero,
    )
    offered, lines = [], list[list[EstimateLine]]()
    for row in charges.operation_charges(job):
        frozen = EstimateOperation(
            estimate=estimate, operation_id=row.operation, position=row.position, title=row.title,
            net=row.net, gross=row.net, **aside(concern=row.concern, cause=row.cause),
        )  # fmt: skip
        offered.append(frozen)
        lines.append(
            [
                EstimateLine(estimate_operation=frozen, line_id=charge.line, **columns)
                for charge, columns in zip(row.charges, freezing.lines_on_paper(row.charges), strict=True)
            ]
        )
    put_aside([estimate, *offered, *chain(*lines)], now=now)
    estimate.content_sha256 = freezing.estimate_seal(estimate, zip(offered, lines, strict=True))
    estimate.save(force_insert=True)
    for frozen in offered:
        frozen.save(force_insert=True)
    EstimateLine.objects.bulk_create(chain(*lines))
    audit.record(WROTE, estimate, actor=None, now=now, sha256=estimate.content_sha256)
    return estimate, {row.operation_id: row for row in offered if row.operation_id is not None}
