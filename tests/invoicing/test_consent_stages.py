"""Consent on its way through a job: undecided, declined, offered again, taken back; who gives it, and how."""

import datetime as dt
from decimal import Decimal

import pytest

from garage.clock import fixed
from garage.errors import Refused
from garage.models import ShopProfile
from invoicing import charges
from invoicing.actions.invoices import OverLimit
from invoicing.actions.taxes import set_rate
from invoicing.models import TaxRate
from jobs import queries as jobs_queries
from jobs.actions.stages import cancel_job, reopen_job, start_job
from jobs.consents import states_of
from jobs.models import Job, Line, Operation
from tests.decided import standing, state
from tests.invoicing.cast import Garage, labor, part
from tests.invoicing.consent_cast import (
    BACK,
    NO,
    YES,
    again,
    change,
    drafted,
    operations,
    say,
    sound,
)

D = Decimal


# Stages


def test_what_is_undecided_keeps_nothing_back(garage: Garage) -> None:
    job = garage.job([labor("1")], [part()])
    first, second = operations(job)
    say(garage, job, first, YES)
    job.refresh_from_db()
    assert job.stage == "awaiting"
    garage.finish(garage.into_bay(job))
    assert (state(first), state(second)) == ("authorized", "undecided")
    assert "“Operation 2” is not decided on: it is not billed." in drafted(job).differences
    assert garage.issue(job).net == D("128.00")


def test_declined_work_is_offered_again_when_the_customer_calls_back(garage: Garage) -> None:
    job = garage.job([labor("1")], [part()])
    second = operations(job)[1]
    with pytest.raises(Refused, match="was not declined"):
        again(garage, second)
    estimate = garage.estimate(job)
    garage.authorize(estimate, {second.pk: "not this year"})
    with pytest.raises(Refused, match="offer it again on the sheet first"):
        garage.authorize(estimate, decisions={second.pk: YES}, limit=D("202.90"))
    again(garage, second)
    say(garage, job, second, NO)
    assert state(second) == "declined"
    again(garage, second)
    assert state(Operation.objects.get(pk=second.pk)) == "undecided"
    say(garage, job, second, YES, limit="202.90")
    garage.finish(garage.into_bay(job))
    assert garage.issue(job).net == D("202.90")
    assert sound()


def test_all_declined_and_offered_again_is_no_dead_end(garage: Garage) -> None:
    job = garage.job([labor("1")])
    (first,) = operations(job)
    say(garage, job, first, NO)
    job.refresh_from_db()
    assert job.waits_for == "collection, all work declined"
    again(garage, first)
    job.refresh_from_db()
    assert (job.stage, job.waits_for) == ("written_up", "")
    say(garage, job, first, YES)
    job.refresh_from_db()
    assert job.stage == "ready"


def test_a_canceled_job_taken_up_again_goes_on_with_what_was_authorized(garage: Garage) -> None:
    job = garage.job([labor("1")])
    garage.authorize(garage.estimate(job))
    cancel_job(job=job, reason="the customer is ill", actor=garage.actor, clock=fixed(garage.now))
    reopen_job(job=job, actor=garage.actor, clock=fixed(garage.now))
    job.refresh_from_db()
    assert job.stage == "ready"
    garage.finish(garage.into_bay(job))
    assert garage.issue(job).net == D("128.00")


def test_another_method_is_not_worked_on(garage: Garage) -> None:
    job = garage.job([labor("1")])
    garage.authorize(garage.estimate(job))
    (first,) = operations(job)
    Operation.objects.filter(pk=first.pk).update(title="Replace instead of repair")
    with pytest.raises(Refused, match="work may not begin"):
        start_job(job=job, actor=garage.actor, clock=fixed(garage.now))


# Taking a yes back


def test_a_yes_is_taken_back_by_a_decision_of_its_own_before_work_begins(garage: Garage) -> None:
    fluid = garage.fluid()
    job = garage.job([labor("1")], [garage.poured(fluid, "1.000")])
    first, second = operations(job)
    garage.authorize(garage.estimate(job))
    with pytest.raises(Refused, match="a yes taken back is “no longer wanted”"):
        say(garage, job, first, NO)
    garage.into_bay(job)
    garage.draw(second.lines.get(), "1")
    with pytest.raises(Refused, match="has begun"):
        say(garage, job, second, BACK)
    record = say(garage, job, first, BACK)
    assert (record.limit, record.added) == (D("61.20"), D("-128.00"))
    assert standing(first).reason == "withdrawn"
    garage.finish(job)
    invoice = garage.issue(job)
    assert invoice.net == D("61.20")
    assert invoice.notices["declined"] == [
        "Operation 1, authorized at first, in the customer’s words: “sells the car”."
    ]


def test_a_yes_is_taken_back_at_any_time(garage: Garage) -> None:
    job = garage.job([labor("1")], [part()])
    first, second = operations(job)
    estimate = garage.estimate(job)
    garage.authorize(estimate, decisions={first.pk: YES})
    garage.now += dt.timedelta(days=40)  # the estimate is no offer any more, and no yes to it is
    with pytest.raises(Refused, match="was valid until"):
        garage.authorize(estimate, decisions={first.pk: BACK, second.pk: YES})
    garage.authorize(estimate, decisions={first.pk: BACK})
    assert state(first) == "declined"


def test_only_a_yes_can_be_taken_back(garage: Garage) -> None:
    job = garage.job([labor("1")])
    with pytest.raises(Refused, match="is not authorized yet"):
        say(garage, job, operations(job)[0], BACK)


# Who, how, with tax


def test_a_companys_authorization_names_a_person(garage: Garage) -> None:
    company = garage.customer("Fernhollow Veterinary", kind="company", contact="Noor Rahimi")
    estimate = garage.estimate(garage.job([labor("1")], customer=company))
    with pytest.raises(Refused, match="is a company: write the name of the person") as refused:
        garage.authorize(estimate)
    assert refused.value.field == "person_name"
    record = garage.authorize(estimate, person_name="Tomas Heyl")
    assert (str(record.person), record.capacity) == ("Tomas Heyl", "customer")


def test_a_text_message_needs_its_number(garage: Garage) -> None:
    estimate = garage.estimate(garage.job([labor("1")]))
    with pytest.raises(Refused, match="without it a text message is no record") as refused:
        garage.authorize(estimate, channel="text", contact="")
    assert refused.value.field == "contact"
    assert garage.authorize(estimate, channel="text").get_channel_display() == "by text message"


def test_with_tax_the_limit_binds_at_the_rates_of_the_estimate(garage: Garage) -> None:
    ShopProfile.objects.update(limit_with_tax=True)
    job = garage.done([part("Alternator", "100.00")], [labor("1")])
    change(garage, Line.objects.get(kind="part"), unit_price=D("100.01"))
    with pytest.raises(OverLimit, match=r"\$0.01 more than the \$107.25 that was authorized \(with tax\)"):
        garage.issue(job)
    company = garage.customer("Fernhollow Veterinary", kind="company", contact="Noor Rahimi")
    assert not garage.estimate(garage.job([labor("1")], customer=company)).limit_with_tax


def test_the_order_of_the_chain_decides_when_a_clock_was_set_back(garage: Garage) -> None:
    job = garage.job([labor("1")])
    (first,) = operations(job)
    garage.authorize(garage.estimate(job))
    say(garage, job, first, BACK)
    garage.now -= dt.timedelta(hours=3)
    assert state(first) == "declined"
    with pytest.raises(Refused, match="work may not begin"):
        garage.into_bay(job)


def test_many_jobs_are_read_in_as_many_questions_as_one(garage: Garage, django_assert_num_queries) -> None:
    for _ in range(3):
        job = garage.job([labor("1")], [part()])
        garage.authorize(garage.estimate(job))
    jobs = list(Job.objects.prefetch_related("operations"))
    with django_assert_num_queries(3):
        found = states_of(jobs)
    assert [len(row.all_in("authorized")) for row in found.values()] == [2, 2, 2]


def test_an_estimate_is_overtaken_by_what_it_does_not_show_and_by_nothing_less(garage: Garage) -> None:
    job = garage.job([labor("1")], [part()])
    second = operations(job)[1]
    estimate = garage.estimate(job)

    def overtaken() -> bool:
        sheet, today = jobs_queries.sheets().get(pk=job.pk), garage.today
        return charges.overtaken(estimate, sheet, charges.consent_on(sheet, today), today)

    assert not overtaken()
    change(garage, second.lines.get(), unit_price=D("70.00"))
    assert overtaken()  # undecided work is offered as it stands
    change(garage, second.lines.get(), unit_price=D("74.90"))
    garage.authorize(estimate)
    change(garage, second.lines.get(), unit_price=D("70.00"))
    assert not overtaken()
    garage.operation(job, "Wipers", part("Blade", "12.00"))
    assert overtaken()


def test_with_tax_one_tax_over_two_classes_is_rounded_once_as_on_the_paper(garage: Garage) -> None:
    """10.01 and 10.01 at 6.25 % are 1.25 of tax (1.25125), not twice 0.63 (by hand)."""
    ShopProfile.objects.update(limit_with_tax=True)
    TaxRate.objects.all().delete()
    set_rate(
        name="State tax", classes=["parts", "labor"], rate=D("0.0625"), valid_from=garage.today,
        actor=garage.actor, clock=fixed(garage.now),
    )  # fmt: skip
    job = garage.done([part("Clip", "10.01"), labor("1", "10.01")])
    assert job.estimates.get().gross == D("21.27")
    change(garage, Line.objects.get(kind="part"), unit_price=D("11.01"))
    with pytest.raises(OverLimit, match=r"\$1\.06 more than the \$21\.27 that was authorized \(with tax\)"):
        garage.issue(job)
