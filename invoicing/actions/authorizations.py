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

from garage import audit, dates, search, shop
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.idempotency import once
from garage.ledger import append, aside, content_of, digest, put_aside
from garage.models import Customer, SideRow, User
from garage.money import spoken
from invoicing import charges, comparing, queries
from invoicing.models import Authorization, AuthorizationOperation, Estimate, EstimateOperation
from invoicing.reading_out import Asking, Decisions, ReadOut, asking_of
from invoicing.sums import Sums
from jobs import queries as jobs_queries
from jobs import stages
from jobs.actions.intake import change_job
from jobs.actions.stages import settle
from jobs.consent import AUTHORIZED, DECLINED, WITHDRAWN, Consent
from jobs.models import Job, JobStep, Line
from jobs.showing import if_needed

Channel, Capacity = Authorization.Channel, Authorization.Capacity


@once("authorize", Authorization)
def authorize(
    *,
    key: uuid.UUID,
    estimate: Estimate,
    seal: str,
    after_record: int | None = None,
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

    `seal` is the estimate's own, as the form showed it: nobody says yes to a revision they did not hear.
    `after_record` is the sequence of the job's last record as the form had it (0: none; None: not asked), since the
    amounts read out hold what stood authorized then. `limit` is what may now be billed on the whole job before tax,
    as it was said; it is what the authorized work comes to, and for a first authorization defaults to that.
    `parts_wish` is what is to happen with replaced parts (None: not asked); the law wants it asked here (9884.10).

    Raises Replaced for another revision or another last record than the form had, and Refused, naming the field, when
    the record would be no evidence: a phone call or text message without number (`contact`), a mail without address,
    somebody neither customer nor designated, a company without a person's name (`person_name`), an addition without
    the revised total or with another one (`limit`), a time that cannot be (`at`), an estimate that expired or that a
    changed sheet has overtaken.
    """
    now = clock()
    row = queries.estimates().get(pk=estimate.pk)
    job = jobs_queries.sheets().get(pk=row.job_id)
    consent = charges.consent_on(job, shop.day_of(now))
    _the_paper_heard(row, seal, job)
    if after_record not in (None, consent.seq):
        raise Replaced(ANSWERED_SINCE)
    _given_in_time(row, at or now, now)
    if any(decision != WITHDRAWN for decision, _words in decisions.values()):
        _still_offered(row, job, consent, at or now, now)
    name, known_as = _person(job.customer, person_name, capacity)
    asking = asking_of(row, job, consent)
    _check_decisions(asking, job, decisions)
    given = Given(name, known_as, channel, _contact(channel, contact), at or now)
    if parts_wish is not None:
        change_job(job=job, fields={"parts_wish": parts_wish}, actor=actor, clock=fixed(now))
    return _record(asking, job, decisions, given, limit, actor, now)


#: Why a form that was opened before another record is not saved.
ANSWERED_SINCE = (
    "Another decision was recorded on this job since the form was opened, and nothing was recorded now. Look at what "
    "stands authorized, and read the amounts out again."
)


class Replaced(Refused):
    """Another revision was written, or another decision recorded, since the form was opened; it says which."""


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
    """Refuse a moment at which nobody can have decided on this estimate.

    One written by a clock that was ahead, and was set back since, says nothing of that.
    """
    if at > now:
        raise Refused("An authorization cannot have been given later than now.", "at")
    if at < estimate.written_at.replace(second=0, microsecond=0) and estimate.written_at <= now:
        raise Refused("That is before this estimate was written.", "at")


def _still_offered(estimate: Estimate, job: Job, consent: Consent, at: dt.datetime, now: dt.datetime) -> None:
    """Refuse an answer to an estimate that is no longer what the garage offers; a yes is taken back at any time."""
    if shop.day_of(at) > estimate.valid_until:
        until = dates.day(estimate.valid_until)
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
    if not any(sign.isalpha() for sign in typed):  # a dash is nobody
        raise Refused("Write who gave the authorization.", "person_name")
    if customer.kind == Customer.Kind.COMPANY and search.key(typed) == search.key(customer.name):
        raise Refused(f"{customer.name} is a company: write the name of the person who said yes or no.", "person_name")
    rows = {customer, customer.today}  # merged meanwhile: whoever may speak for either of the two
    own = {search.key(known) for row in rows for known in (row.name, row.contact) if known}
    designated = {search.key(person.name) for row in rows for person in row.designated.all()}
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
        raise Refused("Choose how the authorization was given.", "channel")
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


def _check_decisions(asking: Asking, job: Job, decisions: Decisions) -> None:
    """Refuse no decision at all, and one that says nothing: on work that is not offered, or was settled before."""
    if not decisions:
        raise Refused("Choose authorized or declined for at least one operation.")
    offered = {row.operation_id: row for row in asking.estimate.operations.all()}
    begun = begun_among(decisions)
    for key, (decision, _) in decisions.items():
        if key not in offered:
            raise Refused("One of the operations is not on this estimate.")
        if decision not in (AUTHORIZED, DECLINED, WITHDRAWN):
            raise Refused(f"“{offered[key]}” must be authorized or declined.")
        if key not in asking.consent.operations:
            raise Refused(f"“{offered[key]}” is no longer on the sheet: write a revised estimate and ask again.")
        _check_decision(offered[key], decision, asking.consent, begun=key in begun)
    one_of_alternatives(job, asking.after(decisions))


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


def _record(
    asking: Asking,
    job: Job,
    decisions: Decisions,
    given: Given,
    limit: Decimal | None,
    actor: User | None,
    now: dt.datetime,
) -> Authorization:
    before = queries.last_authorization(job)
    estimate, heard = asking.estimate, asking.read_out(decisions)
    sums = heard.sums
    adds = any(decision == AUTHORIZED for decision, _ in decisions.values())
    limit = agreed_limit(job.customer, sums, limit, addition=adds and bool(asking.consent.authorized))
    person = SideRow.objects.create(data={"name": given.name, "contact": given.contact}, written_at=now)
    rows = _rows(estimate, asking.with_standing(decisions), heard)
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
        text=agreed_text(estimate, heard),
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


def _rows(estimate: Estimate, decisions: Decisions, heard: ReadOut) -> list[AuthorizationOperation]:
    """What is said of each operation, with the amounts that were read out; of a no there are no taxes to hear."""
    return [
        AuthorizationOperation(
            estimate_operation=offered,
            decision=decision,
            net=offered.net,
            tax=heard.shares[offered.operation_id].tax if decision == AUTHORIZED else Decimal(0),
            **aside(reason=words.strip()),
        )
        for offered in estimate.operations.all()
        if offered.operation_id is not None and offered.operation_id in decisions
        for decision, words in [decisions[offered.operation_id]]
    ]


def one_of_alternatives(job: Job, consent: Consent) -> None:
    """Refuse a consent to two operations that are alternatives to one another."""
    allowed = consent.all_in(AUTHORIZED)
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
    comes_to = f"{spoken(sums.net)} before tax, {spoken(sums.gross)} with tax"
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


def agreed_text(estimate: Estimate, heard: ReadOut) -> str:
    """The sentence that was agreed to, with what of it is only if needed."""
    sums, currency = heard.sums, estimate.currency
    needs = "; ".join(f"{row.description}, {if_needed(row.quantity, row.unit, row.net)}" for row in heard.needs)
    return (
        f"{estimate.shop['authorization_text']} Estimate {estimate.label}, up to {comparing.amount(sums.net)} "
        f"{currency} before tax, {comparing.amount(sums.gross)} {currency} with tax."
        f"{f' Of this: {needs}.' if needs else ''}"
    )
