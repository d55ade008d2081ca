"""Authorizations: evidence or nothing. The cases A1 to A7 are those of the law the papers are written to."""

import datetime as dt
import uuid
from decimal import Decimal

import pytest
from django.db import DatabaseError, transaction

from garage.clock import fixed
from garage.errors import Refused
from invoicing import queries
from invoicing.actions.estimates import revise_to_used
from invoicing.models import Authorization, Estimate
from jobs.actions.writing_up import save_line
from jobs.models import Operation
from tests.decided import standing
from tests.invoicing.cast import Garage, labor, part

D = Decimal


def test_a_phone_authorization_without_a_number_is_refused(garage: Garage) -> None:
    # A1: Cal. Bus. & Prof. Code 9884.9(a): the telephone number called, if any (seen in a court's course page).
    estimate = garage.estimate(garage.job([labor()]))
    for contact in ("", "she called"):
        with pytest.raises(Refused, match="telephone number") as refused:
            garage.authorize(estimate, contact=contact)
        assert refused.value.field == "contact"
    assert not Authorization.objects.exists()


def test_an_email_authorization_without_an_address_is_refused(garage: Garage) -> None:
    estimate = garage.estimate(garage.job([labor()]))
    with pytest.raises(Refused, match="email address") as refused:
        garage.authorize(estimate, channel="email", contact="555-0142")
    assert refused.value.field == "contact"


def test_an_addition_without_the_revised_total_is_refused(garage: Garage) -> None:
    # A2: 16 CCR 3354(a)(1): the total revised cost (source text seen).
    job = garage.job([labor("1")])
    garage.authorize(garage.estimate(job))
    garage.operation(job, "Rear brake pads", part())
    revised = garage.estimate(job)
    with pytest.raises(Refused, match="the revised total that Odile Marrant agreed to") as refused:
        garage.authorize(revised)
    assert refused.value.field == "limit"
    added = garage.authorize(revised, limit=D("202.90"))
    assert (added.limit, added.added, added.limit_gross) == (D("202.90"), D("74.90"), D("208.33"))


def test_somebody_neither_customer_nor_designated_is_refused(garage: Garage) -> None:
    # A5: 16 CCR 3354(c): designation of another person to authorize (source text seen).
    estimate = garage.estimate(garage.job([labor()]))
    with pytest.raises(Refused, match="neither Odile Marrant nor a person they designated") as refused:
        garage.authorize(estimate, person_name="A Neighbor")
    assert refused.value.field == "person_name"


def test_a_designated_person_may_authorize_and_is_recorded_as_such(garage: Garage) -> None:
    authorization = garage.authorize(garage.estimate(garage.job([labor()])), person_name="Piet  Marrant")
    assert (authorization.capacity, str(authorization.person)) == ("designated", "Piet Marrant")


def test_an_expired_estimate_is_refused(garage: Garage) -> None:
    # A6: the day after which an estimate ceases to apply (Ontario, Quebec: duty of the date seen; refusal our own).
    estimate = garage.estimate(garage.job([labor()]))
    garage.now += dt.timedelta(days=31)
    with pytest.raises(Refused, match="was valid until Apr 1, 2026") as refused:
        garage.authorize(estimate)
    assert refused.value.field == "at"
    revised = garage.estimate(estimate.job)
    assert revised.revision == 2
    assert garage.authorize(revised).estimate == revised


def test_an_overtaken_revision_is_refused(garage: Garage) -> None:
    job = garage.job([labor("1")])
    first = garage.estimate(job)
    garage.operation(job, "Rear brake pads", part())
    with pytest.raises(Refused, match="The sheet has changed"):
        garage.authorize(first)
    second = garage.estimate(job)
    with pytest.raises(Refused, match=f"was replaced by {second.label}"):
        garage.authorize(first)


def test_changing_an_authorized_line_asks_again_even_at_the_same_price(garage: Garage) -> None:
    # A3: 16 CCR 3354(b): parts may not change without authorization even at the same price (source text seen).
    job = garage.job([labor(), part()])
    garage.authorize(garage.estimate(job))
    line = job.operations.get().lines.get(kind="part")
    save_line(
        operation=line.operation, line=line, fields={"condition": "used"}, actor=garage.actor, clock=fixed(garage.now)
    )
    assert standing(job.operations.get()).asks
    revised = garage.estimate(job)
    assert revised.changes.splitlines()[0] == ("“Operation 1”: Pad set, rear, used instead of new, same price.")


def test_a_later_edit_leaves_the_authorized_revision_as_it_was(garage: Garage) -> None:
    # A7: 15 USC 7001(d), UETA section 12: the record remains what it was (seen in part).
    job = garage.job([labor("1")])
    first = garage.estimate(job)
    garage.authorize(first)
    line = job.operations.get().lines.get()
    save_line(
        operation=line.operation, line=line, fields={"quantity": D(2)}, actor=garage.actor, clock=fixed(garage.now)
    )
    second = garage.estimate(job)
    before, after = Estimate.objects.get(pk=first.pk), Estimate.objects.get(pk=second.pk)
    assert (before.content_sha256, before.net) == (first.content_sha256, D("128.00"))
    assert after.content_sha256 != before.content_sha256


def test_the_record_holds_everything_that_makes_it_evidence(garage: Garage) -> None:
    job = garage.job([labor("1"), part()])
    estimate = garage.estimate(job)
    garage.now += dt.timedelta(minutes=5)
    at = garage.now - dt.timedelta(minutes=2)
    record = garage.authorize(estimate, at=at)
    assert record.person.data == {"name": "Odile Marrant", "contact": "555-0142"}
    assert record.person.matches(record.person_seal)
    assert (record.channel, record.at, record.zone) == ("phone", at, "America/New_York")
    assert (record.taken_by, record.limit, record.limit_gross) == (garage.actor, D("202.90"), D("208.33"))
    assert "up to 202.90 USD before tax, 208.33 USD with tax" in record.text
    assert [(row.decision, row.net) for row in record.operations.all()] == [("authorized", D("202.90"))]


def test_a_record_cannot_be_changed_or_deleted(garage: Garage) -> None:
    record = garage.authorize(garage.estimate(garage.job([labor()])))
    for change in (
        lambda: Authorization.objects.update(limit=D(1)),
        lambda: Authorization.objects.filter(pk=record.pk).delete(),
        lambda: Estimate.objects.update(net=D(1)),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


def test_a_double_tap_is_one_record(garage: Garage) -> None:
    estimate, key = garage.estimate(garage.job([labor()])), uuid.uuid4()
    assert garage.authorize(estimate, key=key).pk == garage.authorize(estimate, key=key).pk


def test_operations_may_be_decided_one_after_the_other(garage: Garage) -> None:
    job = garage.job([labor("1")], [part()])
    estimate = garage.estimate(job)
    first, second = job.operations.order_by("position")
    garage.authorize(estimate, decisions={second.pk: ("declined", "too dear")})
    job.refresh_from_db()
    assert job.stage == "awaiting"
    record = garage.authorize(estimate, decisions={first.pk: ("authorized", "")}, limit=D("128.00"))
    job.refresh_from_db()
    assert (record.limit, job.stage) == (D("128.00"), "ready")


def test_of_two_alternatives_one_is_counted_and_one_can_be_authorized(garage: Garage) -> None:
    job = garage.job([labor("1")])
    first = job.operations.get()
    second = garage.operation(job, "Two changes instead of one", labor("2"))
    Operation.objects.filter(pk=second.pk).update(alternative_to=first)
    estimate = garage.estimate(job)
    assert estimate.net == D("128.00")
    with pytest.raises(Refused, match="are alternatives"):
        garage.authorize(estimate)
    record = garage.authorize(estimate, decisions={second.pk: ("authorized", "")})
    assert record.limit == D("256.00")


def test_a_time_that_cannot_be_is_refused(garage: Garage) -> None:
    estimate = garage.estimate(garage.job([labor()]))
    for at in (garage.now + dt.timedelta(minutes=5), garage.now - dt.timedelta(days=1)):
        with pytest.raises(Refused) as refused:
            garage.authorize(estimate, at=at)
        assert refused.value.field == "at"


def test_work_found_in_the_bay_is_added_and_the_job_goes_on_there(garage: Garage) -> None:
    job = garage.job([labor("1")])
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    garage.operation(job, "Rear brake pads", part())
    estimate = garage.estimate(job)
    job.refresh_from_db()
    assert (job.stage, job.waits_for) == ("awaiting", "Odile Marrant")
    assert "New: “Rear brake pads”, $74.90." in estimate.changes
    garage.authorize(estimate, limit=D("202.90"))
    job.refresh_from_db()
    assert job.stage == "in_bay"
    last = queries.last_authorization(job)
    assert last is not None and last.limit == D("202.90")


def test_a_finished_job_is_finished_still_when_the_higher_price_is_agreed_to(garage: Garage) -> None:
    fluid = garage.fluid()
    job = garage.job([garage.poured(fluid, "1.000")])
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    garage.draw(job.operations.get().lines.get(), "1.2")
    garage.finish(job)
    estimate = revise_to_used(job=job, actor=garage.actor, clock=fixed(garage.now))
    job.refresh_from_db()
    assert job.stage == "awaiting"
    garage.authorize(estimate, limit=estimate.net)
    job.refresh_from_db()
    assert (job.stage, job.waits_for) == ("finished", "")
    assert garage.issue(job).net == D("73.44")  # 1.2 L at 61.20


def test_work_added_to_a_finished_job_has_to_be_done_first(garage: Garage) -> None:
    job = garage.done([labor("1")])
    garage.operation(job, "Rear brake pads", part())
    estimate = garage.estimate(job)
    garage.authorize(estimate, limit=estimate.net)
    job.refresh_from_db()
    assert job.stage == "in_bay"
