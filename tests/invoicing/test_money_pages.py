"""The pages of money: deposits, credit, refunds and receipts, as the counter uses them."""

import re
import uuid
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from garage import dates
from garage.actions.customers import save_customer
from garage.actions.erasing import erase_side_rows
from garage.actions.merging import merge_customer
from garage.clock import fixed
from garage.documents import paper_of
from garage.models import Customer, Document, OutgoingMail
from invoicing import accounts, promises_money
from invoicing.models import Invoice, Payment
from invoicing.papers import receipt_paper
from jobs.models import Job
from tests.budget import assert_budget
from tests.invoicing.cast import Garage, labor

D = Decimal
Login = Callable[[str], Client]


pytestmark = pytest.mark.usefixtures("real_clock")


def text_of(response: object) -> str:
    return re.sub(r"\s+", " ", response.content.decode())  # type: ignore[attr-defined]


def sent(amount: str, **more: str) -> dict[str, str]:
    return {"key": str(uuid.uuid4()), "amount": amount, "method": "card", "paid_on": "", **more}


def answer_to(page: object) -> str:
    """What the button “save anyway” sends."""
    found = re.search(r'name="as_it_is"[^>]*value="(\w+)"|value="(\w+)"[^>]*name="as_it_is"', text_of(page))
    assert found, text_of(page)
    return found[1] or found[2]


def with_deposit(garage: Garage, amount: str = "60.00") -> Job:
    job = garage.job([labor("1")])
    garage.authorize(garage.estimate(job))
    garage.deposit(job, amount)
    return job


def test_nothing_is_preselected_but_the_amount_that_is_owed(garage: Garage, login: Login) -> None:
    invoice = garage.issue(garage.done([labor("1")]))
    client = login("counter")
    page = text_of(client.get(f"/invoices/{invoice.pk}/pay/"))
    assert 'value="128.00"' in page and f'value="{timezone.localdate().isoformat()}"' in page
    assert not re.search(r'<option value="(cash|card|transfer|check)" selected', page)
    refused = client.post(f"/invoices/{invoice.pk}/pay/", sent("128.00", method=""))
    assert refused.status_code == 422 and "Choose how it was paid" in text_of(refused) and not Payment.objects.exists()


def test_more_than_is_owed_is_asked_about_and_then_stands_as_credit(garage: Garage, login: Login) -> None:
    invoice = garage.issue(garage.done([labor("1")]))
    client, form = login("counter"), sent("137.00")
    asked = client.post(f"/invoices/{invoice.pk}/pay/", form)
    assert "$9.00 more than is owed: it stays as credit on the account." in text_of(asked)
    client.post(f"/invoices/{invoice.pk}/pay/", {**form, "as_it_is": answer_to(asked)})
    assert accounts.credit_of(invoice.customer) == D("9.00")
    for page in (f"/customers/{invoice.customer_id}/", f"/customers/{invoice.customer_id}/account/", "/books/"):
        assert "9.00" in text_of(client.get(page)), page
    assert "−$9.00" in text_of(client.get("/books/")).partition("Total balance due")[2]


def test_an_answer_given_to_one_figure_answers_no_other(garage: Garage, login: Login) -> None:
    """A second clerk was paid in the meantime: what is now too much was never said to be credit."""
    invoice = garage.issue(garage.done([labor("1")]))
    client, form = login("counter"), sent("137.00")
    asked = client.post(f"/invoices/{invoice.pk}/pay/", form)
    garage.pay(invoice, "128.00")
    again = client.post(f"/invoices/{invoice.pk}/pay/", {**form, "as_it_is": answer_to(asked)})
    assert again.status_code == 422 and "$137.00 more than is owed" in text_of(again)
    assert Payment.objects.count() == 1


def test_a_day_long_ago_is_asked_about_and_one_to_come_refused(garage: Garage, login: Login) -> None:
    invoice = garage.issue(garage.done([labor("1")]))
    client = login("counter")
    old, soon = (timezone.localdate() - timedelta(days=400)), timezone.localdate() + timedelta(days=1)
    asked = client.post(f"/invoices/{invoice.pk}/pay/", sent("1.00", paid_on=old.isoformat()))
    assert asked.status_code == 422 and "is long ago" in text_of(asked)
    refused = client.post(f"/invoices/{invoice.pk}/pay/", sent("1.00", paid_on=soon.isoformat()))
    assert refused.status_code == 422 and "in the future" in text_of(refused)
    assert not Payment.objects.exists()


def test_a_deposit_is_taken_from_the_sheet_and_shown_until_it_is_applied(garage: Garage, login: Login) -> None:
    client = login("counter")
    job = garage.job([labor("1")])
    estimate = garage.estimate(job)
    assert f"/jobs/{job.pk}/deposit/" in text_of(client.get(f"/jobs/{job.pk}/"))
    answer = client.post(f"/jobs/{job.pk}/deposit/", sent("60.00", method="cash", reference="slip 4"), follow=True)
    assert "60.00 recorded as a deposit." in text_of(answer)
    garage.authorize(estimate)
    garage.finish(garage.into_bay(job))
    for page in (f"/jobs/{job.pk}/", f"/estimates/{estimate.pk}/", f"/jobs/{job.pk}/invoice/", "/books/"):
        assert "60.00" in text_of(client.get(page)), page
    draft = text_of(client.get(f"/jobs/{job.pk}/invoice/"))
    assert "Deposit applied" in draft and "68.00" in draft.partition("Balance due")[2]
    due = timezone.localdate().isoformat()
    issued = client.post(f"/jobs/{job.pk}/invoice/", {"key": str(uuid.uuid4()), "due_on": due}, follow=True)
    assert "deposit applied" in text_of(issued) and "68.00 owed" in text_of(issued)


def test_a_deposit_is_refunded_the_way_it_was_paid_unless_another_is_chosen(garage: Garage, login: Login) -> None:
    client, job = login("counter"), with_deposit(garage)
    page = text_of(client.get(f"/jobs/{job.pk}/deposit/refund/"))
    assert re.search(r'<option value="card" selected', page) and 'value="60.00"' in page
    refused = client.post(f"/jobs/{job.pk}/deposit/refund/", sent("60.01", reason="Sold the car."))
    assert refused.status_code == 422 and "only $60.00 can be refunded" in text_of(refused)
    client.post(f"/jobs/{job.pk}/deposit/refund/", sent("60.00", reason="Sold the car."))
    assert accounts.deposit_of(job) == 0


def test_the_page_that_cancels_leads_through_the_deposit(garage: Garage, login: Login) -> None:
    client, job = login("counter"), with_deposit(garage)
    page = text_of(client.get(f"/jobs/{job.pk}/cancel/"))
    assert "A deposit of $60.00 is on this job" in page
    assert f"/jobs/{job.pk}/deposit/keep/" in page and f"/jobs/{job.pk}/deposit/refund/" in page
    refused = client.post(f"/jobs/{job.pk}/cancel/", {"reason": "Sold the car."})
    assert refused.status_code == 422 and "refund it or keep it as credit first" in text_of(refused)
    client.post(f"/jobs/{job.pk}/deposit/keep/", {"key": str(uuid.uuid4()), "amount": "60.00"})
    client.post(f"/jobs/{job.pk}/cancel/", {"reason": "Sold the car."})
    job.refresh_from_db()
    assert (job.stage, accounts.credit_of(job.customer)) == ("canceled", D("60.00"))


def test_credit_is_applied_on_the_invoices_own_page_and_taken_off_again(garage: Garage, login: Login) -> None:
    client = login("counter")
    invoice = garage.issue(garage.done([labor("1")]))
    garage.on_account(invoice.customer, "50.00")
    address = f"/invoices/{invoice.pk}/"
    assert "$50.00 of credit is on the account." in text_of(client.get(address))
    client.post(f"{address}apply-credit/", {"key": str(uuid.uuid4()), "amount": "50.00"})
    assert "credit applied" in text_of(client.get(address)) and accounts.owed(invoice) == D("78.00")
    client.post(f"{address}take-off/", {"key": str(uuid.uuid4()), "amount": "50.00"})
    assert "kept as credit" in text_of(client.get(address)) and accounts.owed(invoice) == D("128.00")


def test_the_account_lists_what_stood_under_both_names(garage: Garage, login: Login) -> None:
    twice, one = garage.customer(), garage.customer("Odile Marrant-Quay")
    invoice, paid = (garage.issue(garage.done([labor("1")], customer=twice)) for _job in range(2))
    garage.pay(paid, "28.00", reference="check 118")
    merge_customer(customer=twice, into=one, actor=garage.actor, clock=fixed(garage.now))
    page = text_of(login("reader").get(f"/customers/{one.pk}/account/"))
    assert invoice.label in page and "check 118" in page and "$228.00" in page


def test_a_paid_invoice_says_when_it_was_paid(garage: Garage, login: Login) -> None:
    invoice = garage.issue(garage.done([labor("1")]))
    garage.pay(invoice, "128.00", paid_on=timezone.localdate() - timedelta(days=1))
    page = text_of(login("reader").get(f"/invoices/{invoice.pk}/"))
    day = timezone.localdate() - timedelta(days=1)
    assert f"Paid on {dates.day(day)}" in page


def test_payments_are_listed_by_their_day_whatever_was_recorded_last(garage: Garage, login: Login) -> None:
    invoice = garage.issue(garage.done([labor("9")]))
    today = timezone.localdate()
    for number in range(35):
        garage.pay(invoice, f"{number + 1}.00", paid_on=today - timedelta(days=number * 7 % 35))
    client, seen, page = login("reader"), [], "/books/payments/"
    while page:
        shown = client.get(page)
        seen += [row.paid_on for row in shown.context["page"].rows]
        older = shown.context["page"].older
        page = f"/books/payments/{older}" if older else ""
    assert len(seen) == 35 and seen == sorted(seen, reverse=True)


# The receipt


def receipt(payment: Payment) -> str:
    """The receipt as the worker fills it, before it is printed."""
    return re.sub(r"\s+", " ", paper_of(receipt_paper(payment.pk)).html)


def test_every_payment_deposit_and_refund_wants_its_receipt_and_a_reversal_none(garage: Garage) -> None:
    job = with_deposit(garage)
    paid = garage.on_account(job.customer, "40.00")
    garage.refund(accounts.on_account(job.customer), "10.00")
    garage.reverse(paid)
    assert Document.objects.filter(kind="receipt").count() == 3


def test_a_receipt_says_what_was_paid_and_never_invoice(garage: Garage) -> None:
    invoice = garage.issue(garage.done([labor("1")]))
    part = garage.pay(invoice, "100.00", method="check", reference="check 118")
    rest = garage.pay(invoice, "37.00", credit=D("9.00"))
    first, second = receipt(part), receipt(rest)
    assert "100.00" in first and "check 118" in first and "28.00 still owed" in first
    assert invoice.label in second and "paid in full on" in second and "Credit on your account" in second
    assert "invoice" not in (first + second).lower()


def test_a_receipt_prints_whom_it_was_made_for_whatever_they_are_called_later(garage: Garage) -> None:
    payment = garage.on_account(garage.customer(), "40.00")
    save_customer(
        customer=payment.customer, fields={"name": "Marrant Haulage", "address": "9 Mill Lane"}, phones=[], emails=[],
        designated=[], actor=garage.actor, clock=fixed(garage.now),
    )  # fmt: skip
    printed = receipt(payment)
    assert "Odile Marrant" in printed and "4 Quay Street" in printed and "555-0142" in printed
    assert "Haulage" not in printed and "Mill Lane" not in printed


def test_a_receipts_name_is_sealed_and_may_be_erased_after_the_record_years(garage: Garage) -> None:
    payment = garage.on_account(garage.customer(), "40.00")
    person = payment.person
    kept, person.data = person.data, {"name": "Somebody Else"}
    person.save()
    assert any("name or address was changed" in breach for breach in promises_money.payments_add_up())
    person.data = kept
    person.save()
    late = fixed(garage.now + timedelta(days=8 * 366))
    assert erase_side_rows(rows=[person], actor=garage.actor, clock=late) == 1
    assert list(promises_money.payments_add_up()) == []
    assert "erased after the record years" in receipt(Payment.objects.get())


def test_the_receipt_is_mailed_and_the_invoice_goes_with_it_when_wanted(garage: Garage, login: Login) -> None:
    invoice = garage.issue(garage.done([labor("1")]), mail_to="odile@example.com")
    payment = garage.pay(invoice, "128.00")
    client = login("counter")
    page = text_of(client.get(f"/payments/{payment.pk}/"))
    assert 'value="odile@example.com"' in page and "Attach the invoice too" in page
    client.post(f"/payments/{payment.pk}/mail/", {"to": "odile@example.com", "with_invoice": "on"})
    mail = OutgoingMail.objects.get(purpose="receipt")
    assert sorted(paper.kind for paper in mail.attachments.all()) == ["invoice", "receipt"]
    assert "receipt for $128.00 received" in mail.text
    refused = client.post(f"/payments/{payment.pk}/mail/", {"to": "nobody"})
    assert refused.status_code == 422 and OutgoingMail.objects.filter(purpose="receipt").count() == 1


# Who may, and how often the database is asked


def test_a_reader_reads_and_a_technician_sees_nothing(garage: Garage, login: Login) -> None:
    payment = garage.pay(garage.issue(garage.done([labor("1")])), "128.00")
    for address in (f"/payments/{payment.pk}/", f"/customers/{payment.customer_id}/account/"):
        shown = login("reader").get(address)
        assert shown.status_code == 200, address
        assert '<form method="post"' not in text_of(shown).replace('action="/logout/"', "").split("<main")[1]
        assert login("technician").get(address).status_code == 403


def test_the_account_asks_a_fixed_number_of_times(garage: Garage, login: Login) -> None:
    customer: Customer = garage.customer()

    def one_more() -> None:
        invoice = garage.issue(garage.done([labor("1")], customer=customer))
        garage.pay(invoice, "10.00")
        garage.on_account(customer, "20.00")
        garage.move(accounts.on_account(customer), accounts.on_invoice(invoice), "5.00")
        garage.deposit(garage.job([labor("1")], customer=customer), "7.00")

    one_more()
    client = login("owner")
    assert_budget(client, f"/customers/{customer.pk}/account/", 26, one_more)
    assert_budget(client, "/books/payments/", 9, one_more)
    assert_budget(client, "/books/", 20, one_more)


def test_an_invoice_page_asks_no_more_for_more_payments(garage: Garage, login: Login) -> None:
    invoice: Invoice = garage.issue(garage.done([labor("9")]))
    garage.pay(invoice, "1.00")
    assert_budget(login("owner"), f"/invoices/{invoice.pk}/", 28, lambda: garage.pay(invoice, "1.00"))
