"""Deposits, credit on the account, refunds and reversals, in the orders in which they really come."""

import datetime as dt
import uuid
from collections.abc import Iterator
from decimal import Decimal

import pytest
from django.db.models import Sum

from garage.actions.merging import merge_customer
from garage.clock import fixed
from garage.errors import Refused
from garage.idempotency import KeyReused
from invoicing import accounts, promises, promises_money
from invoicing.accounts import on_account, on_invoice, on_job
from invoicing.models import Allocation, Invoice, InvoiceLine, Payment
from jobs.actions.stages import cancel_job
from jobs.models import Job
from tests.invoicing.cast import Garage, labor, part

D = Decimal
CHECKS = (
    promises.receivables_add_up,
    promises.sums_hold,
    promises.invoices_sealed,
    promises_money.payments_add_up,
    promises_money.moves_add_up,
    promises_money.nothing_beyond,
    promises_money.advances_taken_off,
)


def breaches() -> list[str]:
    return [sentence for check in CHECKS for sentence in check()]


@pytest.fixture(autouse=True)
def books_hold(db: None) -> Iterator[None]:
    """Whatever a test did through the verbs, every promise about money holds at its end."""
    yield
    assert breaches() == []


def owed(invoice: Invoice) -> Decimal:
    return accounts.owed(invoice)


def credit(invoice: Invoice) -> Decimal:
    return accounts.credit_of(invoice.customer)


def written(garage: Garage, *lines: dict[str, object]) -> Job:
    """A job with an estimate, before anybody has authorized it."""
    job = garage.job(list(lines) or [labor("1")])
    garage.estimate(job)
    return job


def billed(garage: Garage, hours: str = "1", **more: object) -> Invoice:
    """An invoice of 128.00 an hour, without tax."""
    return garage.issue(garage.done([labor(hours)], **more))  # type: ignore[arg-type]


# The day


def test_a_payment_has_a_day_of_its_own(garage: Garage) -> None:
    invoice = billed(garage)
    first = garage.pay(invoice, "10.00")
    late = garage.pay(invoice, "20.00", paid_on=dt.date(2026, 2, 27))
    assert (first.paid_on, first.at.date()) == (dt.date(2026, 3, 2), dt.date(2026, 3, 2))
    assert (late.paid_on, late.at.date()) == (dt.date(2026, 2, 27), dt.date(2026, 3, 2))


def test_the_default_day_is_the_shops(garage: Garage) -> None:
    invoice = billed(garage)
    garage.now = dt.datetime(2026, 3, 3, 2, 30, tzinfo=dt.UTC)  # half past nine in the evening of the 2nd in New York
    assert garage.pay(invoice, "1.00").paid_on == dt.date(2026, 3, 2)


@pytest.mark.parametrize(("day", "words"), [("2026-03-03", "in the future"), ("2015-03-02", "more than ten years ago")])
def test_an_impossible_day_is_refused_beside_its_field(garage: Garage, day: str, words: str) -> None:
    invoice = billed(garage)
    with pytest.raises(Refused, match=words) as refused:
        garage.pay(invoice, "1.00", paid_on=dt.date.fromisoformat(day))
    assert refused.value.field == "paid_on"


# Credit on the account


def test_money_above_what_is_owed_stands_as_credit_once_it_was_said(garage: Garage) -> None:
    invoice = billed(garage)
    garage.pay(invoice, "137.00", credit=D("9.00"))
    assert (owed(invoice), credit(invoice), accounts.total_balance()) == (D(0), D("9.00"), D("-9.00"))


def test_two_clerks_paying_the_last_50_at_once_make_no_credit_that_nobody_meant(garage: Garage) -> None:
    invoice = billed(garage)
    garage.pay(invoice, "78.00")
    garage.pay(invoice, "50.00")
    with pytest.raises(Refused, match="nothing is owed"):
        garage.pay(invoice, "50.00")
    assert (owed(invoice), credit(invoice), Payment.objects.count()) == (D(0), D(0), 2)


def test_credit_pays_another_invoice_is_taken_off_and_applied_again(garage: Garage) -> None:
    first = billed(garage)
    second = billed(garage, customer=first.customer)
    garage.pay(first, "178.00", credit=D("50.00"))
    garage.move(on_account(first.customer), on_invoice(second), "50.00")
    assert (owed(second), credit(second)) == (D("78.00"), D(0))
    garage.move(on_invoice(second), on_account(first.customer), "20.00")
    assert (owed(second), credit(second)) == (D("98.00"), D("20.00"))
    garage.move(on_account(first.customer), on_invoice(second), "20.00")
    assert (owed(second), credit(second)) == (D("78.00"), D(0))


def test_credit_is_not_applied_twice(garage: Garage) -> None:
    first = billed(garage)
    second = billed(garage, customer=first.customer)
    garage.pay(first, "178.00", credit=D("50.00"))
    key = uuid.uuid4()
    for _tap in range(2):
        garage.move(on_account(first.customer), on_invoice(second), "50.00", key=key)
    assert (Allocation.objects.count(), owed(second)) == (1, D("78.00"))
    with pytest.raises(Refused, match="On the account nothing is left"):
        garage.move(on_account(first.customer), on_invoice(second), "50.00")


def test_no_more_is_applied_than_is_owed(garage: Garage) -> None:
    first = billed(garage)
    garage.on_account(first.customer, "500.00")
    with pytest.raises(Refused, match=r"only \$128.00 is owed"):
        garage.move(on_account(first.customer), on_invoice(first), "128.01")


def test_money_of_one_customer_pays_no_invoice_of_another(garage: Garage) -> None:
    invoice, other = billed(garage), billed(garage)
    garage.on_account(invoice.customer, "50.00")
    with pytest.raises(Refused, match="of one customer"):
        garage.move(on_account(invoice.customer), on_invoice(other), "50.00")


def test_credit_is_refunded_and_never_more_than_stands(garage: Garage) -> None:
    customer = garage.customer()
    garage.on_account(customer, "40.00")
    with pytest.raises(Refused, match=r"only \$40.00 can be refunded"):
        garage.refund(on_account(customer), "40.01")
    assert garage.refund(on_account(customer), "40.00").amount == D("-40.00")
    with pytest.raises(Refused, match="nothing to refund"):
        garage.refund(on_account(customer), "0.01")


# Deposits


def test_a_deposit_is_no_sale_and_pays_the_invoice_when_it_is_issued(garage: Garage) -> None:
    job = written(garage, labor("1"), part())
    garage.deposit(job, "100.00")
    assert (accounts.deposit_of(job), Invoice.objects.count(), accounts.total_balance()) == (D("100.00"), 0, D(0))
    garage.authorize(job.estimates.get())
    invoice = garage.issue(garage.finish(garage.into_bay(job)))
    assert invoice.gross == D("208.33")  # 128.00 + 74.90 at 7.25 %: the deposit was not taxed
    assert (owed(invoice), accounts.deposit_of(job)) == (D("108.33"), D(0))
    assert accounts.applied_at_issue(invoice) == D("100.00")


def test_what_a_deposit_is_larger_than_its_invoice_stays_as_credit_and_the_job_closes(garage: Garage) -> None:
    job = written(garage)
    garage.deposit(job, "200.00")
    garage.authorize(job.estimates.get())
    invoice = garage.issue(garage.finish(garage.into_bay(job)))
    job.refresh_from_db()
    assert (owed(invoice), credit(invoice), job.stage) == (D(0), D("72.00"), "closed")


def test_an_applied_deposit_is_taken_off_and_applied_again(garage: Garage) -> None:
    job = written(garage)
    garage.deposit(job, "128.00")
    garage.authorize(job.estimates.get())
    invoice = garage.issue(garage.finish(garage.into_bay(job)))
    garage.move(on_invoice(invoice), on_account(invoice.customer), "128.00")
    job.refresh_from_db()
    assert (owed(invoice), job.stage) == (D("128.00"), "invoiced")
    garage.move(on_account(invoice.customer), on_invoice(invoice), "128.00")
    job.refresh_from_db()
    assert (owed(invoice), job.stage) == (D(0), "closed")
    assert accounts.applied_at_issue(invoice) == D("128.00")  # what the paper prints does not change


def test_a_job_with_a_deposit_is_not_canceled_before_it_is_said_what_becomes_of_it(garage: Garage) -> None:
    def cancel(job: Job) -> Job:
        return cancel_job(job=job, reason="Sold the car.", actor=garage.actor, clock=fixed(garage.now))

    refunded, kept = written(garage), written(garage)
    for job in (refunded, kept):
        garage.deposit(job, "60.00")
        with pytest.raises(Refused, match=r"A deposit of \$60.00 stands"):
            cancel(job)
    garage.refund(on_job(refunded), "60.00")
    garage.move(on_job(kept), on_account(kept.customer), "60.00")
    assert (cancel(refunded).stage, cancel(kept).stage) == ("canceled", "canceled")
    assert accounts.credit_of(kept.customer) == D("60.00")


def test_called_off_midway_what_was_done_is_taken_from_the_deposit_and_the_rest_refunded(garage: Garage) -> None:
    job = garage.job([labor("1")], [labor("2")])
    garage.authorize(garage.estimate(job), {job.operations.get(position=2).pk: "Not now."})
    garage.deposit(job, "300.00")
    invoice = garage.issue(garage.finish(garage.into_bay(job)))
    assert (owed(invoice), credit(invoice)) == (D(0), D("172.00"))
    garage.refund(on_account(invoice.customer), "172.00", method="cash")
    assert Payment.objects.aggregate(sum=Sum("amount"))["sum"] == invoice.gross


@pytest.mark.parametrize("stage", ["invoiced", "canceled"])
def test_no_deposit_is_taken_after_the_invoice_or_the_end(garage: Garage, stage: str) -> None:
    job = garage.issue(garage.done([labor("1")])).job if stage == "invoiced" else written(garage)
    assert job is not None
    if stage == "canceled":
        cancel_job(job=job, reason="Sold the car.", actor=garage.actor, clock=fixed(garage.now))
    with pytest.raises(Refused, match="before the invoice"):
        garage.deposit(job, "10.00")


def test_a_key_sent_again_is_one_deposit_and_with_another_amount_none(garage: Garage) -> None:
    job, key = written(garage), uuid.uuid4()
    for _tap in range(2):
        garage.deposit(job, "60.00", key=key)
    with pytest.raises(KeyReused):
        garage.deposit(job, "70.00", key=key)
    assert accounts.deposit_of(job) == D("60.00")


# Reversals


def test_a_bounced_check_is_taken_from_wherever_its_money_went(garage: Garage) -> None:
    first = billed(garage)
    second = billed(garage, customer=first.customer)
    check = garage.pay(first, "200.00", method="check", credit=D("72.00"))
    garage.move(on_account(first.customer), on_invoice(second), "50.00")
    garage.reverse(check)
    assert (owed(first), owed(second), credit(first)) == (D("128.00"), D("128.00"), D(0))


def test_a_bounced_deposit_leaves_its_invoice_owed_and_the_job_open(garage: Garage) -> None:
    job = written(garage)
    check = garage.deposit(job, "200.00", method="check")
    garage.authorize(job.estimates.get())
    invoice = garage.issue(garage.finish(garage.into_bay(job)))
    garage.reverse(check)
    job.refresh_from_db()
    assert (owed(invoice), credit(invoice), job.stage) == (D("128.00"), D(0), "invoiced")


def test_what_was_refunded_of_a_check_that_bounces_is_owed_on_the_account_until_it_is_paid(garage: Garage) -> None:
    customer = garage.customer()
    check = garage.on_account(customer, "100.00", method="check")
    garage.refund(on_account(customer), "60.00")
    garage.reverse(check)
    assert (accounts.credit_of(customer), accounts.balance_of(customer)) == (D("-60.00"), D("60.00"))
    garage.on_account(customer, "60.00")
    assert accounts.balance_of(customer) == 0


def test_a_reversal_is_not_before_its_payment(garage: Garage) -> None:
    paid = garage.pay(billed(garage), "128.00")
    with pytest.raises(Refused, match="not reversed before") as refused:
        garage.reverse(paid, paid_on=dt.date(2026, 3, 1))
    assert refused.value.field == "paid_on"


def test_paid_credited_whole_refunded_in_part_paid_again_and_reversed(garage: Garage) -> None:
    job = garage.done([labor("1")])
    first = garage.issue(job)
    paid = garage.pay(first, "128.00", method="check")
    garage.credit(first)
    assert owed(first) == D("-128.00")
    garage.refund(on_invoice(first), "28.00")
    again = garage.issue(job)
    garage.move(on_invoice(first), on_account(first.customer), "100.00")
    garage.move(on_account(first.customer), on_invoice(again), "100.00")
    garage.pay(again, "28.00", method="cash")
    job.refresh_from_db()
    assert (owed(first), owed(again), job.stage) == (D(0), D(0), "closed")
    garage.reverse(paid)
    job.refresh_from_db()
    assert (owed(first), owed(again), credit(first)) == (D(0), D("100.00"), D("-28.00"))
    assert (accounts.balance_of(first.customer), job.stage) == (D("128.00"), "invoiced")


def test_an_overpaid_invoice_is_refunded_only_by_what_it_is_overpaid(garage: Garage) -> None:
    invoice = garage.issue(garage.done([labor("1"), part("Clip", "10.00")]))
    garage.pay(invoice, "138.73")
    garage.credit(invoice, lines={InvoiceLine.objects.get(kind="part").pk: D(1)})
    with pytest.raises(Refused, match=r"only \$10.73 can be refunded"):
        garage.refund(on_invoice(invoice), "10.74")


# Order is sequence, not time


def test_what_is_owed_after_a_payment_follows_the_acts_when_the_clock_is_set_back(garage: Garage) -> None:
    invoice = garage.issue(garage.done([labor("1"), part("Clip", "10.00")]))  # 128.00 and 10.73
    first = garage.pay(invoice, "20.00")
    garage.now -= dt.timedelta(hours=1)
    garage.credit(invoice, lines={InvoiceLine.objects.get(kind="part").pk: D(1)})  # after it, by its clock before
    garage.now -= dt.timedelta(hours=1)
    second = garage.pay(invoice, "30.00")  # after the credit note, by its clock before
    assert accounts.owed_after(invoice, first) == D("118.73")
    assert accounts.owed_after(invoice, second) == D("78.00") == owed(invoice)


def test_a_paper_prints_the_deposit_alone_when_credit_is_applied_in_the_same_moment(garage: Garage) -> None:
    job = written(garage)
    garage.deposit(job, "60.00")
    garage.on_account(job.customer, "40.00")
    garage.authorize(job.estimates.get())
    invoice = garage.issue(garage.finish(garage.into_bay(job)))
    garage.move(on_account(job.customer), on_invoice(invoice), "40.00")
    assert (accounts.applied_at_issue(invoice), owed(invoice)) == (D("60.00"), D("28.00"))


# One customer who was in the book twice


def test_credit_of_a_merged_customer_pays_for_the_other_and_the_book_holds(garage: Garage) -> None:
    twice, one = garage.customer(), garage.customer("Odile Marrant-Quay")
    paid = garage.on_account(twice, "50.00")
    merge_customer(customer=twice, into=one, actor=garage.actor, clock=fixed(garage.now))
    twice.refresh_from_db()
    invoice = billed(garage, customer=one)
    garage.move(on_account(one), on_invoice(invoice), "50.00")
    assert (owed(invoice), accounts.credit_of(twice), accounts.accounts()) == (D("78.00"), D(0), [])
    assert accounts.places_of(paid) == [(on_invoice(invoice), D("50.00"))]
    garage.reverse(paid)
    assert (owed(invoice), accounts.credit_of(one)) == (D("128.00"), D(0))
