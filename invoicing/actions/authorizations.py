"""Recording what the customer decided: evidence, sealed in the chain, never changed.

What a record must hold follows the law of the strictest places (Cal. Bus. & Prof. Code 9884.9, 16 CCR 3354): date and
time, who gave it and in which capacity, the number or address used, who took it, the exact work and the revised total.
What it then allows is worked out by `jobs.consent`, here as everywhere.
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
from invoicing import charges, comparing, consents, queries
from invoicing.models import Authorization, AuthorizationOperation, Estimate, EstimateOperation
from invoicing.sums import Sums, counted
from jobs import queries as jobs_queries
from jobs import stages
from jobs.actions.intake import change_job
from jobs.actions.stages import settle
from jobs.consent import AUTHORIZED, DECLINED, WITHDRAWN, Consent, Record, Said, consent_from
from jobs.consents import records_of, work_of
from jobs.models import Job, JobStep, Line
from jobs.offers import beyond

Channel, Capacity = Authorization.Channel, Authorization.Capacity

#: By operation (of the sheet): authorized, declined or withdrawn, and the customer's words about a no.
Decisions = Mapping[int, tuple[str, str]]


@once("authorize", Authorization)
def authorize(
    *,
    key: uuid.UUID,
    estimate: Estimate,
    seal: str,
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

    `seal` is the estimate's own, as the form showed it: nobody says yes to a revision they did not hear. `limit` is
    what may now be billed on the whole job before tax, as it was said; it is what the authorized work comes to, and
    for a first authorization defaults to that. `parts_wish` is what is to happen with replaced parts (None: not
    asked); the law wants it asked here (9884.10). Raises Replaced for another revision than the latest, and Refused,
    naming the field, when the record would be no evidence: a phone call or text message without number (`contact`), a
    mail without address, somebody neither customer nor designated, a company without a person's name
    (`person_name`), an addition without the revised total or with another one (`limit`), a time that cannot be
    (`at`), an estimate that expired or that a changed sheet has overtaken.
    """
    now = clock()
    row = queries.estimates().get(pk=estimate.pk)
    job = jobs_queries.sheets().get(pk=row.job_id)
    consent = charges.consent_on(job, shop.day_of(now))
    _the_paper_heard(row, seal, job)
    _given_in_time(row, at or now, now)
    if any(decision != WITHDRAWN for decision, _words in decisions.values()):
        _still_offered(row, job, consent, at or now, now)
    name, known_as = _person(job.customer, person_name, capacity)
    _check_decisions(row, job, consent, decisions)
    given = Given(name, known_as, channel, _contact(channel, contact), at or now)
    if parts_wish is not None:
        change_job(job=job, fields={"parts_wish": parts_wish}, actor=actor, clock=fixed(now))
    return _record(row, job, consent, with_standing(row, decisions, consent), given, limit, actor, now)


class Replaced(Refused):
    """Another revision was written since the form was opened; the sentence says what changed."""


@dataclass(frozen=True)
class Given:
    """Who gave an authorization, in which capacity, how, at which number or address, and when."""

    name: str
    capacity: str
    channel: str
    contact: str
    at: dt.datetime


def _the_paper_heard(estimate: Estimate, seal: str, job: Job) -> None:
    """Refuse another revision than the latest, and another paper than the form was opened for."""
    if job.stage not in stages.OPEN:
        raise Refused(f"{job} is {job.get_stage_display()}: nothing on it is left to authorize.")
    latest = queries.latest_estimate(job)
    if latest is not None and latest.pk != estimate.pk:
        raise replaced(estimate, latest)
    if seal != estimate.content_sha256:
        raise Replaced(f"This form was opened for another paper than estimate {estimate.label}: ask about that one.")


def _given_in_time(estimate: Estimate, at: dt.datetime, now: dt.datetime) -> None:
    """Refuse a moment at which nobody can have decided on this estimate."""
    if at > now:
        raise Refused("An authorization cannot have been given later than now.", "at")
    if at < estimate.written_at.replace(second=0, microsecond=0):
        raise Refused("That is before this estimate was written.", "at")


def _still_offered(estimate: Estimate, job: Job, consent: Consent, at: dt.datetime, now: dt.datetime) -> None:
    """Refuse an answer to an estimate that is no longer what the garage offers; a yes is taken back at any time."""
    if shop.day_of(at) > estimate.valid_until:
        until = shop.day_words(estimate.valid_until)
        raise Refused(f"Estimate {estimate.label} was valid until {until}: write a new revision and ask again.", "at")
    if charges.overtaken(estimate, job, consent, shop.day_of(now)):
        raise Refused("The sheet has changed since this estimate was written: write a revised estimate and ask again.")


def replaced(before: Estimate, latest: Estimate) -> Replaced:
    """The refusal of a form that was opened for an earlier revision, with what changed between the two."""
    changed = comparing.what_changed(charges.as_offered(before), charges.as_offered(latest))
    said = " ".join(changed) or "The work and its prices are the same."
    return Replaced(
        f"Estimate {before.label} was replaced by {latest.label} meanwhile, and nothing was recorded. "
        f"What changed: {said} Ask about {latest.label}."
    )


def _person(customer: Customer, name: str, capacity: str) -> tuple[str, str]:
    """The person's name and capacity; Refused for anybody who is neither the customer nor designated (3354(c)).

    A company says nothing itself: whoever speaks for it is named.
    """
    typed = " ".join(name.split())
    if not typed:
        raise Refused("Write who gave the authorization.", "person_name")
    if customer.kind == Customer.Kind.COMPANY and search.key(typed) == search.key(customer.name):
        raise Refused(f"{customer.name} is a company: write the name of the person who said yes or no.", "person_name")
    own = {search.key(known) for known in (customer.name, customer.contact) if known}
    designated = {search.key(row.name) for row in customer.designated.all()}
    if search.key(typed) in own and capacity in ("", Capacity.CUSTOMER):
        return typed, Capacity.CUSTOMER
    if search.key(typed) in designated and capacity in ("", Capacity.DESIGNATED):
        return typed, Capacity.DESIGNATED
    if customer.kind == Customer.Kind.COMPANY and capacity in ("", Capacity.CUSTOMER):
        return typed, Capacity.CUSTOMER
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
    if channel in (Channel.PHONE, Channel.TEXT) and len(search.digits(contact)) < 5:
        what = "call" if channel == Channel.PHONE else "text message"
        raise Refused(f"Write the telephone number that was used: without it a {what} is no record.", "contact")
    if channel in (Channel.EMAIL, Channel.LINK):
        try:
            validate_email(contact)
        except ValidationError:
            raise Refused("Write the email address that was used, such as name@example.com.", "contact") from None
    return contact


def _check_decisions(estimate: Estimate, job: Job, consent: Consent, decisions: Decisions) -> None:
    """Refuse no decision at all, and one that says nothing: on work that is not offered, or was settled before."""
    if not decisions:
        raise Refused("Say for at least one operation whether it is authorized or declined.")
    offered = {row.operation_id: row for row in estimate.operations.all()}
    begun = begun_among(decisions)
    for key, (decision, _) in decisions.items():
        if key not in offered:
            raise Refused("One of the operations is not on this estimate.")
        if decision not in (AUTHORIZED, DECLINED, WITHDRAWN):
            raise Refused(f"“{offered[key]}” must be authorized or declined.")
        if key not in consent.operations:
            raise Refused(f"“{offered[key]}” is no longer on the sheet: write a revised estimate and ask again.")
        _check_decision(offered[key], decision, consent, begun=key in begun)
    _one_of_alternatives(job, after(estimate, job, decisions).all_in(AUTHORIZED))


def _check_decision(offered: EstimateOperation, decision: str, consent: Consent, *, begun: bool) -> None:
    standing = consent.of(offered.operation_id)
    if standing.state == DECLINED:
        raise Refused(f"“{offered}” was declined before: offer it again on the sheet first.")
    if decision == WITHDRAWN and standing.state != AUTHORIZED:
        raise Refused(f"“{offered}” is not authorized yet: a no to it is “declined”.")
    if decision == WITHDRAWN and begun:
        raise Refused(
            f"Work on “{offered}” has begun: bring its lines to what was done, write a revised estimate and ask again."
        )
    if decision == DECLINED and standing.state == AUTHORIZED and not standing.beyond:
        raise Refused(
            f"“{offered}” is authorized, and nothing was added to it: a yes taken back is “no longer wanted”."
        )


def begun_among(operations: Mapping[int, object]) -> set[int]:
    """The operations on which the bay has done something: a step left open no more, or something drawn for it."""
    stepped = JobStep.objects.filter(operation__in=list(operations)).exclude(state=JobStep.State.OPEN)
    lines = dict(Line.objects.filter(operation__in=list(operations)).values_list("pk", "operation"))
    used = jobs_queries.used(Line.objects.filter(pk__in=list(lines)))
    drawn = {lines[key] for key, row in used.items() if row.quantity}
    return set(stepped.values_list("operation", flat=True)) | drawn


def after(estimate: Estimate, job: Job, decisions: Decisions) -> Consent:
    """What the customer's consent would be with these decisions on the estimate."""
    offers = {row.operation_id: consents.offer_of(row, estimate) for row in estimate.operations.all()}
    said = tuple(Said(offers[key], decision, words) for key, (decision, words) in decisions.items())
    before = records_of([job.pk])[job.pk]
    record = Record(seq=max((row.seq for row in before), default=0) + 1, said=said)
    return consent_from([*before, record], [work_of(row) for row in job.operations.all()])


def with_standing(estimate: Estimate, decisions: Decisions, consent: Consent) -> dict[int, tuple[str, str]]:
    """The decisions, and with a yes also what stood authorized before and this estimate offers for less.

    The revised total that the customer hears holds the lower price, so it is that one which is agreed to from now on.
    """
    given = dict(decisions)
    if all(decision != AUTHORIZED for decision, _words in given.values()):
        return given
    for row in estimate.operations.all():
        standing = consent.of(row.operation_id)
        if standing.yes is None or row.operation_id in given:
            continue
        offer = consents.offer_of(row, estimate)
        lower = offer.net < standing.net
        if lower and not beyond(standing.yes, offer.as_work):
            given[offer.operation] = (AUTHORIZED, "")
    return given


def _record(
    estimate: Estimate,
    job: Job,
    consent: Consent,
    decisions: Decisions,
    given: Given,
    limit: Decimal | None,
    actor: User | None,
    now: dt.datetime,
) -> Authorization:
    before = queries.last_authorization(job)
    sums = sums_authorized(estimate, job, after(estimate, job, decisions))
    adds = any(decision == AUTHORIZED for decision, _ in decisions.values())
    limit = agreed_limit(job.customer, sums, limit, addition=adds and bool(consent.authorized))
    person = SideRow.objects.create(data={"name": given.name, "contact": given.contact}, written_at=now)
    rows = _rows(estimate, decisions)
    put_aside(rows, now=now)
    authorization = Authorization(
        job=job,
        estimate=estimate,
        estimate_seal=estimate.content_sha256,
        person=person,
        person_seal=person.seal(),
        capacity=given.capacity,
        channel=given.channel,
        at=given.at,
        zone=shop.profile().time_zone,
        recorded_at=now,
        taken_by=actor,
        limit=limit,
        limit_gross=sums.gross,
        added=limit - (before.limit if before else 0),
        text=agreed_text(estimate, limit, sums.gross),
        content_sha256=content_seal(estimate, rows),
    )
    append(authorization)
    for row in rows:
        row.authorization = authorization
    AuthorizationOperation.objects.bulk_create(rows)
    settle(job, actor=actor, clock=fixed(now))
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


def _one_of_alternatives(job: Job, allowed: set[int]) -> None:
    groups: dict[int, str] = {}
    for row in job.operations.all():
        if row.pk not in allowed:
            continue
        group = row.alternative_to_id or row.pk
        if group in groups:
            raise Refused(f"“{groups[group]}” and “{row}” are alternatives: one of them can be authorized.")
        groups[group] = str(row)


def agreed_limit(customer: Customer, sums: Sums, said: Decimal | None, *, addition: bool) -> Decimal:
    """The amount before tax that may be billed now; Refused when an addition does not say it (16 CCR 3354(a)), and
    when another one was said than the authorized work comes to."""
    comes_to = f"{comparing.amount(sums.net)} before tax, {comparing.amount(sums.gross)} with tax"
    if said is None and addition:
        raise Refused(
            f"This adds to an earlier authorization: write the revised total that {customer.name} agreed to, "
            f"before tax (the authorized work comes to {comes_to}).",
            "limit",
        )
    if said is not None and said != sums.net:
        raise Refused(
            f"The authorized work comes to {comes_to}. Say both, then write the amount before tax. For another price, "
            "change the sheet and write a revised estimate.",
            "limit",
        )
    return sums.net


def sums_authorized(estimate: Estimate, job: Job, consent: Consent) -> Sums:
    """What the authorized work on the sheet comes to as it was agreed, with the taxes sealed on the estimate."""
    chosen = charges.only(charges.agreed(consent).values(), consent.all_in(AUTHORIZED))
    return charges.sums_at(estimate, counted(chosen))


def agreed_text(estimate: Estimate, limit: Decimal, gross: Decimal) -> str:
    """The sentence that was agreed to."""
    currency = estimate.currency
    return (
        f"{estimate.shop['authorization_text']} Estimate {estimate.label}, up to {comparing.amount(limit)} {currency} "
        f"before tax, {comparing.amount(gross)} {currency} with tax."
    )
