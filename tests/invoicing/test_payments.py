"""Payments: part by part, never above what is owed, and taken back by a row of their own."""

import uuid
from decimal import Decimal

import pytest

from garage.actions.merging import merge_customer, part_customer
from garage.clock import fixed
from garage.errors import Refused
from invoicing import accounts, promises_money
from invoicing.actions.payments import refund, reverse_payment
from invoicing.models import Invoice, InvoiceLine, Payment, Receivable
from tests.invoicing.cast import Garage, labor, part

D = Decimal


def balance(invoice: Invoice) -> Decimal:
    return Receivable.objects.get(invoice=invoice).balance


def test_the_job_closes_when_the_last_part_is_paid(garage: Garage) -> None:
    job = garage.done([labor("1")])
    invoice = garage.issue(job)
    garage.pay(invoice, "100.00", method="cash")
    job.refresh_from_db()
    assert (balance(invoice), job.stage) == (D("28.00"), "invoiced")
    garage.pay(invoice, "28.00", method="check", reference="check 118")
    job.refresh_from_db()
    assert (balance(invoice), job.stage) == (D(0), "closed")


def test_more_than_is_owed_is_refused_with_what_is(garage: Garage) -> None:
    invoice = garage.issue(garage.done([labor("1")]))
    with pytest.raises(Refused, match=r"only \$128.00 is owed") as refused:
        garage.pay(invoice, "128.01")
    assert refused.value.field == "amount"
    garage.pay(invoice, "128.00")
    with pytest.raises(Refused, match="nothing is owed"):
        garage.pay(invoice, "0.01")


@pytest.mark.parametrize("amount", ["0", "-5"])
def test_nothing_or_less_is_no_payment(garage: Garage, amount: str) -> None:
    invoice = garage.issue(garage.done([labor("1")]))
    with pytest.raises(Refused, match="more than zero"):
        garage.pay(invoice, amount)


def test_a_double_tap_is_one_payment(garage: Garage) -> None:
    invoice, key = garage.issue(garage.done([labor("1")])), uuid.uuid4()
    for _ in range(2):
        garage.pay(invoice, "50.00", key=key)
    assert (Payment.objects.count(), balance(invoice)) == (1, D("78.00"))


def test_a_page_brought_back_by_the_browser_takes_no_other_payment(garage: Garage) -> None:
    invoice, key = garage.issue(garage.done([labor("1")])), uuid.uuid4()
    garage.pay(invoice, "50.00", key=key)
    with pytest.raises(Refused, match="sent before"):
        garage.pay(invoice, "78.00", key=key)
    assert (Payment.objects.count(), balance(invoice)) == (1, D("78.00"))


def test_a_bounced_check_opens_the_invoice_and_its_job_again(garage: Garage) -> None:
    job = garage.done([labor("1")])
    invoice = garage.issue(job)
    paid = garage.pay(invoice, "128.00", method="check")
    back = reverse_payment(
        key=uuid.uuid4(), payment=paid, reason="the check bounced", actor=garage.actor, clock=fixed(garage.now)
    )
    job.refresh_from_db()
    assert (back.amount, back.reverses, balance(invoice), job.stage) == (D("-128.00"), paid, D("128.00"), "invoiced")


def test_a_payment_is_taken_back_once_and_with_a_reason(garage: Garage) -> None:
    invoice = garage.issue(garage.done([labor("1")]))
    paid = garage.pay(invoice, "10.00")

    def take_back(payment: Payment, reason: str) -> Payment:
        return reverse_payment(
            key=uuid.uuid4(), payment=payment, reason=reason, actor=garage.actor, clock=fixed(garage.now)
        )

    with pytest.raises(Refused, match="Write why"):
        take_back(paid, "")
    back = take_back(paid, "wrong invoice")
    with pytest.raises(Refused, match="reversed already"):
        take_back(paid, "again")
    with pytest.raises(Refused, match="Only money that was received"):
        take_back(back, "again")
    assert balance(invoice) == D("128.00")


def test_what_was_paid_too_much_is_given_back_and_no_more(garage: Garage) -> None:
    invoice = garage.issue(garage.done([labor("1"), part("Clip", "10.00")]))
    garage.pay(invoice, "138.73")
    garage.credit(invoice, lines={InvoiceLine.objects.get(kind="part").pk: D(1)})

    def back(amount: str) -> Payment:
        return refund(
            key=uuid.uuid4(), place=accounts.on_invoice(invoice), amount=D(amount), method="cash",
            reason="clip returned", actor=garage.actor, clock=fixed(garage.now),
        )  # fmt: skip

    with pytest.raises(Refused, match=r"only \$10.73 can be refunded"):
        back("10.74")
    assert back("10.73").amount == D("-10.73")
    assert balance(invoice) == 0


def test_nothing_is_paid_on_a_credit_note(garage: Garage) -> None:
    note = garage.credit(garage.issue(garage.done([labor("1")])))
    with pytest.raises(Refused, match="set against its invoice"):
        garage.pay(note, "1.00")


def test_credit_of_one_who_is_in_the_book_twice_goes_from_the_row_it_came_to(garage: Garage) -> None:
    """Parted again, nobody has given what the other had, and no credit is there twice."""
    first, second = garage.customer("Odile Marrant"), garage.customer("O. Marrant")
    garage.on_account(first, "50")
    merge_customer(customer=first, into=second, actor=garage.actor, clock=fixed(garage.now))
    second.refresh_from_db()
    invoice = garage.issue(garage.done([part()], customer=second))
    garage.move(accounts.on_account(second), accounts.on_invoice(invoice), "10")
    garage.refund(accounts.on_account(second), "15")
    first.refresh_from_db()
    part_customer(customer=first, actor=garage.actor, clock=fixed(garage.now))
    first.refresh_from_db()
    second.refresh_from_db()
    assert (accounts.credit_of(first), accounts.credit_of(second)) == (D("25.00"), D("0.00"))
    assert [*promises_money.nothing_beyond(), *promises_money.payments_add_up(), *promises_money.moves_add_up()] == []


def test_a_bounced_check_is_taken_from_the_row_it_came_to(garage: Garage) -> None:
    """Parted again, the one whose check bounced has no credit, and the other owes nothing."""
    first, second = garage.customer("Odile Marrant"), garage.customer("O. Marrant")
    check = garage.on_account(first, "50", method="check")
    merge_customer(customer=first, into=second, actor=garage.actor, clock=fixed(garage.now))
    garage.reverse(check)
    first.refresh_from_db()
    part_customer(customer=first, actor=garage.actor, clock=fixed(garage.now))
    first.refresh_from_db()
    second.refresh_from_db()
    assert (accounts.credit_of(first), accounts.credit_of(second)) == (D("0.00"), D("0.00"))
