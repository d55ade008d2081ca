"""Recording what the customer decided: evidence, sealed in the chain, never changed.

What a record must hold follows the law of the strictest places (Cal. Bus. & Prof. Code 9884.9, 16 CCR 3354): date and
time, who gave it and in which capacity, the number or address used, who took it, the exact work and the revised total.
"""

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from garage import audit, search, shop
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.idempotency import once
from garage.ledger import append, aside, content_of, digest, put_aside
from garage.models import Customer, SideRow, User
from garage.money import round_money
from invoicing import charges, comparing, queries
from invoicing.models import Authorization, AuthorizationOperation, Estimate
from invoicing.sums import Sums, counted
from jobs import queries as jobs_queries
from jobs import stages
from jobs.actions.intake import change_job
from jobs.actions.stages import decide
from jobs.models import Job, Operation

AUTHORIZED, DECLINED = Operation.Decision.AUTHORIZED, Operation.Decision.DECLINED
Channel, Capacity = Authorization.Channel, Authorization.Capacity

#: By operation (of the sheet): the decision, and the customer's word when it was declined.
Decisions = Mapping[int, tuple[str, str]]


@once("authorize", Authorization)
def authorize(
    *,
    key: uuid.UUID,
    estimate: Estimate,
    decisions: Decisions,
    person_name: str,
    capacity: str = "",
    channel: str,
    contact: str = "",
    at: dt.datetime | None = None,
    limit: Decimal | None = None,
    parts_wish: str | None = None,
    actor: User | None,
    clock: Clock,
) -> Authorization:
    """Record one decision of the customer on an estimate; the same `key` again gives the same record.

    `limit` is what may be billed on the whole job before tax; for a first authorization it defaults to the sum of
    what is authorized. `parts_wish` is what is to happen with replaced parts (None: not asked); the law wants it asked
    here (9884.10). Raises Refused, naming the field, when the record would be no evidence: a phone call without
    number (`contact`), a mail without address, somebody neither customer nor designated (`person_name`), an addition
    without the revised total (`limit`), a time that cannot be (`at`), an estimate that expired or that a later
    revision or a changed sheet has overtaken.
    """
    now = clock()
    row = queries.estimates().get(pk=estimate.pk)
    job = jobs_queries.sheets().get(pk=row.job_id)
    _still_offered(row, job, at or now, now)
    name, known_as = _person(job.customer, person_name, capacity)
    _check_decisions(row, decisions)
    if parts_wish is not None:
        change_job(job=job, fields={"parts_wish": parts_wish}, actor=actor, clock=fixed(now))
    given = Given(name, known_as, channel, _contact(channel, contact), at or now)
    return _record(row, job, decisions, given, limit, actor, now)


@dataclass(frozen=True)
class Given:
    """Who gave an authorization, in which capacity, how, at which number or address, and when."""

    name: str
    capacity: str
    channel: str
    contact: str
    at: dt.datetime


def _still_offered(estimate: Estimate, job: Job, at: dt.datetime, now: dt.datetime) -> None:
    """Refuse an estimate that is no longer what the garage offers."""
    if job.stage not in stages.OPEN:
        raise Refused(f"{job} is {job.get_stage_display()}: nothing on it is left to authorize.")
    latest = queries.latest_estimate(job)
    if latest is not None and latest.pk != estimate.pk:
        raise Refused(f"Estimate {estimate.label} was replaced by {latest.label}: ask for a decision on that one.")
    if shop.day_of(at) > estimate.valid_until:
        until = shop.day_words(estimate.valid_until)
        raise Refused(f"Estimate {estimate.label} was valid until {until}: write a new revision and ask again.", "at")
    if at > now:
        raise Refused("An authorization cannot have been given later than now.", "at")
    if at < estimate.written_at.replace(second=0, microsecond=0):
        raise Refused("That is before this estimate was written.", "at")
    if charges.overtaken(estimate, job):
        raise Refused("The sheet has changed since this estimate was written: write a revised estimate and ask again.")


def _person(customer: Customer, name: str, capacity: str) -> tuple[str, str]:
    """The person's name and capacity; Refused for anybody who is neither the customer nor designated (3354(c))."""
    typed = " ".join(name.split())
    if not typed:
        raise Refused("Say who gave the authorization.", "person_name")
    own = {search.key(known) for known in (customer.name, customer.contact) if known}
    designated = {search.key(row.name) for row in customer.designated.all()}
    if search.key(typed) in own and capacity in ("", Capacity.CUSTOMER):
        return typed, Capacity.CUSTOMER
    if search.key(typed) in designated and capacity in ("", Capacity.DESIGNATED):
        return typed, Capacity.DESIGNATED
    raise Refused(
        f"{typed} is neither {customer.name} nor a person they designated: ask {customer.name}, or have the person "
        "designated on the customer’s page first.",
        "person_name",
    )


def _contact(channel: str, contact: str) -> str:
    """The number or address that was used, as its channel needs it."""
    contact = contact.strip()
    if channel not in Channel.values:
        raise Refused("Say how the authorization was given.", "channel")
    if channel == Channel.IN_PERSON:
        return ""  # a number that merely stood in the form was not used
    if channel == Channel.PHONE and len(search.digits(contact)) < 5:
        raise Refused("Write the telephone number that was used: without it a call is no record.", "contact")
    if channel in (Channel.EMAIL, Channel.LINK):
        try:
            validate_email(contact)
        except ValidationError:
            raise Refused("Write the email address that was used, such as name@example.com.", "contact") from None
    return contact


def _check_decisions(estimate: Estimate, decisions: Decisions) -> None:
    """Refuse no decision at all, one on something that is not on the estimate, and one that is neither yes nor no."""
    if not decisions:
        raise Refused("Say for at least one operation whether it is authorized or declined.")
    offered = {row.operation_id: row for row in estimate.operations.all()}
    for key, (decision, _) in decisions.items():
        if key not in offered:
            raise Refused("One of the operations is not on this estimate.")
        if decision not in (AUTHORIZED, DECLINED):
            raise Refused(f"“{offered[key]}” must be authorized or declined.")


def _record(
    estimate: Estimate,
    job: Job,
    decisions: Decisions,
    given: Given,
    limit: Decimal | None,
    actor: User | None,
    now: dt.datetime,
) -> Authorization:
    before = queries.last_authorization(job)
    allowed = allowed_after(estimate, job, decisions)
    _one_of_alternatives(estimate, job, allowed)
    limit = agreed_limit(estimate, job, decisions, allowed, before, limit)
    gross = with_tax(limit, sums_with_tax(estimate, job, allowed))
    person = SideRow.objects.create(data={"name": given.name, "contact": given.contact}, written_at=now)
    rows = _rows(estimate, decisions)
    put_aside(rows, now=now)
    authorization = Authorization(
        job=job,
        estimate=estimate,
        person=person,
        person_seal=person.seal(),
        capacity=given.capacity,
        channel=given.channel,
        at=given.at,
        zone=shop.profile().time_zone,
        recorded_at=now,
        taken_by=actor,
        limit=limit,
        limit_gross=gross,
        added=limit - (before.limit if before else 0),
        text=agreed_text(estimate, limit, gross),
        content_sha256=content_seal(estimate, rows),
    )
    append(authorization)
    for row in rows:
        row.authorization = authorization
    AuthorizationOperation.objects.bulk_create(rows)
    for operation in Operation.objects.filter(pk__in=decisions).order_by("position"):
        decision, reason = decisions[operation.pk]
        decide(operation=operation, decision=decision, reason=reason.strip(), actor=actor, clock=fixed(now))
    audit.record(
        "recorded authorization", authorization, actor=actor, now=now, limit=str(limit), estimate=estimate.label
    )
    return authorization


def content_seal(estimate: Estimate, rows: list[AuthorizationOperation]) -> str:
    """The seal over what was decided, and over the estimate it was decided on."""
    return digest({"estimate": estimate.content_sha256, "operations": [content_of(row) for row in rows]})


def _rows(estimate: Estimate, decisions: Decisions) -> list[AuthorizationOperation]:
    return [
        AuthorizationOperation(
            estimate_operation=offered,
            decision=decisions[offered.operation_id][0],
            net=offered.net,
            **aside(reason=decisions[offered.operation_id][1].strip()[:200]),
        )
        for offered in estimate.operations.all()
        if offered.operation_id is not None and offered.operation_id in decisions
    ]


def allowed_after(estimate: Estimate, job: Job, decisions: Decisions) -> set[int]:
    """The operations of the estimate that are authorized once these decisions are recorded."""
    standing = {row.pk for row in job.operations.all() if row.decision == AUTHORIZED}
    named = {key for key, (decision, _) in decisions.items() if decision == AUTHORIZED}
    on_estimate = {row.operation_id for row in estimate.operations.all() if row.operation_id is not None}
    return ((standing - set(decisions)) | named) & on_estimate


def _one_of_alternatives(estimate: Estimate, job: Job, allowed: set[int]) -> None:
    groups: dict[int, str] = {}
    for row in job.operations.all():
        if row.pk not in allowed:
            continue
        group = row.alternative_to_id or row.pk
        if group in groups:
            raise Refused(f"“{groups[group]}” and “{row}” are alternatives: one of them can be authorized.")
        groups[group] = str(row)


def agreed_limit(
    estimate: Estimate,
    job: Job,
    decisions: Decisions,
    allowed: set[int],
    before: Authorization | None,
    limit: Decimal | None,
) -> Decimal:
    """The amount before tax that may be billed now; Refused when an addition does not say it (16 CCR 3354(a))."""
    whole = sum((row.net for row in estimate.operations.all() if row.operation_id in allowed), Decimal("0.00"))
    adds = any(decision == AUTHORIZED for decision, _ in decisions.values())
    if limit is None and before is None:
        return whole
    if limit is None and not adds:
        return min(whole, before.limit) if before else whole
    if limit is None:
        raise Refused(
            f"This adds to an earlier authorization: write the revised total that {job.customer.name} agreed to, "
            f"before tax (the estimate says {comparing.amount(whole)}).",
            "limit",
        )
    if limit < 0:
        raise Refused("The amount cannot be below zero.", "limit")
    return limit


def sums_with_tax(estimate: Estimate, job: Job, allowed: set[int]) -> Sums:
    """What the authorized operations of an estimate come to, with the taxes of the day it was written."""
    day = shop.day_of(estimate.written_at)
    chosen = charges.only(charges.as_offered(estimate), allowed)
    return charges.sums_of(counted(chosen), job.customer, queries.rates_on(day), day)


def with_tax(limit: Decimal, sums: Sums) -> Decimal:
    """A limit before tax as it is said with tax: the estimate's own sum, or in proportion when it differs."""
    if limit == sums.net:
        return sums.gross
    return round_money(limit * sums.gross / sums.net) if sums.net else limit


def agreed_text(estimate: Estimate, limit: Decimal, gross: Decimal) -> str:
    """The sentence that was agreed to."""
    currency = estimate.shop["currency"]
    return (
        f"{estimate.shop['authorization_text']} Estimate {estimate.label}, up to {comparing.amount(limit)} {currency} "
        f"before tax, {comparing.amount(gross)} {currency} with tax."
    )
