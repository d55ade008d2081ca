"""The books' pages: each works, asks the role, shows refusals beside their fields, and keeps what was typed."""

import re
import uuid
from collections.abc import Callable
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.utils import timezone

from garage import search
from garage.models import Document, OutgoingMail
from invoicing.models import Authorization, Invoice, InvoiceLine, Payment, TaxRate
from tests.budget import assert_budget, queries_of
from tests.invoicing.cast import Garage, labor, part

D = Decimal
Login = Callable[[str], Client]


@pytest.fixture
def garage(garage: Garage) -> Garage:
    """These tests go through the pages, whose clock is the real one."""
    garage.live()
    return garage


def text_of(response: object) -> str:
    return re.sub(r"\s+", " ", response.content.decode())  # type: ignore[attr-defined]


def form_of(estimate: object, **more: str) -> dict[str, str]:
    """What the authorization form sends when everything is authorized by phone."""
    rows = {f"decision_{row.operation_id}": "authorized" for row in estimate.operations.all()}  # type: ignore[attr-defined]
    last = Authorization.objects.filter(job=estimate.job_id).order_by("chain_seq").last()  # type: ignore[attr-defined]
    return {
        "key": str(uuid.uuid4()),
        "estimate_key": str(estimate.pk),  # type: ignore[attr-defined]
        "seal": estimate.content_sha256,  # type: ignore[attr-defined]
        "after_record": str(last.chain_seq if last else 0),
        "person_name": "Odile Marrant",
        "channel": "phone",
        "contact": "555-0142",
        "at": timezone.localtime(timezone=ZoneInfo("America/New_York")).strftime("%Y-%m-%dT%H:%M"),
        "limit": "10000",
        "parts_wish": "",
        **rows,
        **more,
    }


def test_from_the_sheet_to_the_paid_invoice_through_the_pages(garage: Garage, login: Login) -> None:
    client = login("counter")
    job = garage.job([labor("1"), part()])
    sheet = f"/jobs/{job.pk}/"
    assert "Write estimate" in text_of(client.get(sheet))
    estimate_page = client.post(f"{sheet}estimate/", follow=True)
    assert "Estimate 1-1" in text_of(estimate_page) and "Record authorization" in text_of(estimate_page)
    estimate = job.estimates.get()
    answer = client.post(
        f"{sheet}authorize/", form_of(estimate, limit=str(estimate.net), parts_wish="return"), follow=True
    )
    assert "Authorization saved." in text_of(answer)
    assert Authorization.objects.get().limit == estimate.net
    job.refresh_from_db()
    assert job.parts_wish == "return"
    garage.into_bay(job)
    garage.finish(job)
    assert "Make invoice" in text_of(client.get(sheet))
    draft = client.get(f"{sheet}invoice/")
    assert "it was done as authorized" in text_of(draft)
    issued = client.post(
        f"{sheet}invoice/",
        {"key": str(uuid.uuid4()), "due_on": garage.today.isoformat(), "mail_to": "odile@example.com"},
        follow=True,
    )
    invoice = Invoice.objects.get()
    assert f"Invoice {invoice.label} is issued." in text_of(issued)
    assert OutgoingMail.objects.get().to == "odile@example.com"
    paid = client.post(
        f"/invoices/{invoice.pk}/pay/",
        {"key": str(uuid.uuid4()), "amount": str(invoice.gross), "method": "card"},
        follow=True,
    )
    assert "Nothing is owed." in text_of(paid)
    job.refresh_from_db()
    assert job.stage == "closed"


@pytest.mark.parametrize(
    ("change", "field", "sentence"),
    [
        ({"contact": ""}, "contact", "telephone number that was used"),
        ({"person_name": "A Neighbor"}, "person_name", "Choose again"),
        ({"channel": "email"}, "contact", "email address that was used"),
        ({"at": "2001-01-01T09:00"}, "at", "before this estimate was written"),
    ],
)
def test_a_refused_authorization_says_why_beside_its_field(
    garage: Garage, login: Login, change: dict[str, str], field: str, sentence: str
) -> None:
    estimate = garage.estimate(garage.job([labor()]))
    answer = login("counter").post(f"/jobs/{estimate.job_id}/authorize/", form_of(estimate, **change))
    assert answer.status_code == 422
    beside = re.search(rf'id="id_{field}[_-]error".*?</', text_of(answer))
    assert beside and sentence in beside[0], text_of(answer)
    assert not Authorization.objects.exists()


def test_an_addition_is_asked_for_its_revised_total(garage: Garage, login: Login) -> None:
    client = login("counter")
    job = garage.job([labor("1")])
    garage.authorize(garage.estimate(job))
    garage.operation(job, "Rear brake pads", part())
    garage.now = timezone.now()
    revised = garage.estimate(job)
    page = client.get(f"/jobs/{job.pk}/authorize/")
    assert "202.90" in text_of(page) and 'value="202.90"' not in text_of(page)  # evidence is not filled in beforehand
    earlier = revised.operations.get(position=1).operation_id
    sent = {**form_of(revised, limit=""), f"decision_{earlier}": ""}
    answer = client.post(f"/jobs/{job.pk}/authorize/", sent)
    assert answer.status_code == 422 and "the revised total" in text_of(answer)
    assert client.post(f"/jobs/{job.pk}/authorize/", {**sent, "limit": "202.90"}).status_code == 303


def test_the_amount_offered_for_everything_is_not_recorded_when_a_part_of_it_is_declined(
    garage: Garage, login: Login
) -> None:
    # An authorization states the total that was agreed to (Cal. Bus. & Prof. Code 9884.9).
    client = login("counter")
    estimate = garage.estimate(garage.job([labor("1")], [part()]))
    declined = f"decision_{estimate.operations.get(position=2).operation_id}"
    sent = form_of(estimate, limit="202.90", **{declined: "declined"})
    asked = client.post(f"/jobs/{estimate.job_id}/authorize/", sent)
    assert asked.status_code == 422 and not Authorization.objects.exists()
    assert "The authorized work comes to $128.00 before tax, $128.00 with tax" in text_of(asked)
    client.post(f"/jobs/{estimate.job_id}/authorize/", {**sent, "limit": "128.00"})
    assert Authorization.objects.get().limit == D("128.00")


def test_an_amount_below_what_is_authorized_is_refused_because_it_could_not_be_billed(
    garage: Garage, login: Login
) -> None:
    estimate = garage.estimate(garage.job([labor("1")]))
    answer = login("counter").post(f"/jobs/{estimate.job_id}/authorize/", form_of(estimate, limit="127.99"))
    assert answer.status_code == 422 and "For another price, change the sheet" in text_of(answer)
    assert not Authorization.objects.exists()


def test_a_customer_who_declines_everything_agrees_to_no_amount(garage: Garage, login: Login) -> None:
    estimate = garage.estimate(garage.job([labor("1")]))
    declined = {f"decision_{row.operation_id}": "declined" for row in estimate.operations.all()}
    login("counter").post(f"/jobs/{estimate.job_id}/authorize/", form_of(estimate, limit="128.00", **declined))
    assert Authorization.objects.get().limit == 0


def test_above_the_limit_the_page_offers_the_revised_estimate(garage: Garage, login: Login) -> None:
    client = login("counter")
    fluid = garage.fluid()
    job = garage.job([garage.poured(fluid, "1.000")])
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    garage.draw(job.operations.get().lines.get(), "1.2")
    garage.finish(job)
    page = text_of(client.get(f"/jobs/{job.pk}/invoice/"))
    assert "$12.24 more than the $61.20 that was authorized" in page and "Write revised estimate" in page
    key = {"key": str(uuid.uuid4()), "due_on": garage.today.isoformat()}
    refused = client.post(f"/jobs/{job.pk}/invoice/", key)
    assert refused.status_code == 422 and not Invoice.objects.exists()
    revised = client.post(f"/jobs/{job.pk}/estimate/revise/", follow=True)
    assert "1.200 L instead of 1.000 L, $12.24 more" in text_of(revised)


def test_the_foot_of_an_invoiced_sheet_shows_what_was_billed(garage: Garage, login: Login) -> None:
    fluid = garage.fluid()
    job = garage.job([garage.poured(fluid, "1.000")])
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    garage.draw(job.operations.get().lines.get(), "0.5")
    garage.issue(garage.finish(job))
    foot = text_of(login("counter").get(f"/jobs/{job.pk}/")).partition('<footer class="foot">')[2]
    assert "32.82" in foot and "65.64" not in foot  # half a liter at 61.20 and 7.25 %


def test_a_credit_note_is_not_credited_and_leads_to_what_it_corrects(garage: Garage, login: Login) -> None:
    invoice = garage.issue(garage.done([labor()]))
    note, client = garage.credit(invoice), login("counter")
    for answer in (client.get(f"/invoices/{note.pk}/credit/"), client.post(f"/invoices/{note.pk}/credit/", {})):
        page = answer.content.decode()
        assert "A credit memo is not credited" in page
        assert f'It corrects <a href="/invoices/{invoice.pk}/">Invoice {invoice.label}</a>' in page
        assert 'name="reason"' not in page
        assert "Issue credit memo" not in page
    whole = client.get(f"/invoices/{invoice.pk}/credit/").content.decode()
    assert "Nothing is left to credit" in whole


def test_a_credit_note_is_written_by_quantities(garage: Garage, login: Login) -> None:
    client = login("owner")
    invoice = garage.issue(garage.done([labor("1"), part("Clip", "3.00", "3")]))
    hours, clip = InvoiceLine.objects.order_by("kind")
    page = client.get(f"/invoices/{invoice.pk}/credit/")
    assert f'name="line_{clip.pk}"' in text_of(page)
    sent = {"key": str(uuid.uuid4()), "reason": "", f"line_{clip.pk}": "2", f"line_{hours.pk}": "0"}
    refused = client.post(f"/invoices/{invoice.pk}/credit/", sent)
    assert refused.status_code == 422 and 'value="2"' in text_of(refused)
    client.post(f"/invoices/{invoice.pk}/credit/", {**sent, "reason": "Two clips too many"})
    note = Invoice.objects.get(kind="credit_note")
    assert note.net == D("-6.00")
    assert "Two clips too many" in text_of(client.get(f"/invoices/{note.pk}/"))


def test_a_payment_is_asked_about_above_the_balance_and_reversed_with_a_reason(garage: Garage, login: Login) -> None:
    client = login("counter")
    invoice = garage.issue(garage.done([labor("1")]))
    sent = {"key": str(uuid.uuid4()), "amount": "137", "method": "check"}
    asked = client.post(f"/invoices/{invoice.pk}/pay/", sent)
    assert asked.status_code == 422 and not Payment.objects.exists()
    assert "$9.00 more than is owed: it stays as credit on the account." in text_of(asked)
    client.post(f"/invoices/{invoice.pk}/pay/", {**sent, "amount": "128"})
    payment = Payment.objects.get()
    back = {"key": str(uuid.uuid4()), "reason": "The check bounced"}
    answer = client.post(f"/payments/{payment.pk}/reverse/", back, follow=True)
    assert "The check bounced" in text_of(answer) and "128.00 is still owed" in text_of(answer)
    assert "$128.00 owed" in text_of(client.get(f"/invoices/{invoice.pk}/"))


def test_the_owner_sets_a_rate_and_is_told_who_answers_for_it(garage: Garage, login: Login) -> None:
    client = login("owner")
    assert "The garage answers for its tax rates" in text_of(client.get("/books/taxes/"))
    tax = str(TaxRate.objects.get(tax_class="parts").tax_id)
    sent = {
        "tax": tax, "classes": "parts", "treatment": "taxed", "rate": "8.1",
        "valid_from": f"{garage.today.year + 1}-01-01",
    }  # fmt: skip
    assert "8.1%" in text_of(client.post("/books/taxes/new/", sent, follow=True))
    assert TaxRate.objects.get(tax_class="parts", rate=D("0.0725")).valid_to is not None
    refused = client.post("/books/taxes/new/", {**sent, "rate": "120"})
    assert refused.status_code == 422 and "less than 100 percent" in text_of(refused)


def test_today_gives_each_row_its_one_act_by_role(garage: Garage, login: Login) -> None:
    late, garage.now = garage.now, garage.days_ago(40)
    invoice = garage.issue(garage.done([labor("1")]), mail_to="odile@example.com")
    garage.now = late
    awaiting = garage.job([labor("1")], promised_at=late)
    garage.estimate(awaiting)
    finished = garage.done([labor("1")])
    at_counter = text_of(login("counter").get("/"))
    for words, address in (
        ("Record authorization", f"/jobs/{awaiting.pk}/authorize/"),
        ("Make invoice", f"/jobs/{finished.pk}/invoice/"),
        ("Record payment", f"/invoices/{invoice.pk}/pay/"),
        ("Open mail", "/mail/?state=queued"),
    ):
        assert re.search(rf'href="{re.escape(address)}"[^>]*>{words}', at_counter), words
    assert "waits for Odile Marrant since" in at_counter and "26 days overdue" in at_counter
    reading = text_of(login("reader").get("/"))
    assert "Record payment" not in reading and f'href="/invoices/{invoice.pk}/"' in reading
    assert f"/jobs/{finished.pk}/" not in reading and "Finished, to be invoiced" in reading


def test_drafts_are_wanted_once_for_each_state(garage: Garage, login: Login) -> None:
    client = login("counter")
    job = garage.job([labor()])
    for _ in range(2):
        client.post(f"/jobs/{job.pk}/estimate/draft/")
    assert Document.objects.filter(kind="estimate-draft").count() == 1
    garage.line(job.operations.get(), **part())
    client.post(f"/jobs/{job.pk}/estimate/draft/")
    assert Document.objects.filter(kind="estimate-draft").count() == 2


# Who may


PRICES = [
    "/books/",
    "/books/invoices/",
    "/books/payments/",
    "/books/taxes/",
    "/invoices/{invoice}/",
    "/estimates/{estimate}/",
]
ACTS = [
    "/jobs/{job}/estimate/",
    "/jobs/{job}/authorize/",
    "/jobs/{job}/invoice/",
    "/invoices/{invoice}/pay/",
    "/invoices/{invoice}/credit/",
    "/invoices/{invoice}/mail/",
    "/estimates/{estimate}/mail/",
    "/books/taxes/new/",
]


@pytest.fixture
def addresses(garage: Garage) -> Callable[[str], str]:
    invoice = garage.issue(garage.done([labor("1"), part()]))
    assert invoice.job is not None
    numbers = {"invoice": invoice.pk, "job": invoice.job_id, "estimate": invoice.job.estimates.get().pk}
    return lambda address: address.format(**numbers)


def test_a_technician_gets_no_price_anywhere(garage: Garage, addresses: Callable[[str], str], login: Login) -> None:
    client = login("technician")
    for address in [*PRICES, *ACTS]:
        assert client.get(addresses(address)).status_code == 403, address
        assert client.post(addresses(address)).status_code == 403, address
    garage.into_bay(garage.authorize(garage.estimate(garage.job([labor("1"), part()]))).job)
    for page in ("/", "/find/?q=marrant", addresses("/vehicles/1/")):
        shown = text_of(client.get(page))
        for figure in ("128.00", "74.90", "208.33", "Invoice", "Overdue"):
            assert figure not in shown, (page, figure)


def test_a_reader_sees_the_books_and_changes_nothing(addresses: Callable[[str], str], login: Login) -> None:
    client = login("reader")
    for address in PRICES:
        shown = client.get(addresses(address))
        assert shown.status_code == 200, address
        assert '<form method="post"' not in text_of(shown).replace('action="/logout/"', "").split("<main")[1], address
    for address in ACTS:
        assert client.post(addresses(address)).status_code == 403, address


def test_only_the_owner_sets_rates(addresses: Callable[[str], str], login: Login) -> None:
    assert login("counter").post("/books/taxes/new/").status_code == 403


@pytest.mark.parametrize("address", ["/jobs/{job}/estimate/", "/invoices/{invoice}/mail/", "/books/taxes/new/"])
def test_an_act_is_not_done_by_looking(addresses: Callable[[str], str], login: Login, address: str) -> None:
    assert login("owner").get(addresses(address)).status_code == 405


# Empty book, query budgets


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("/", "Nothing waits today"),
        ("/books/", "Nothing is owed"),
        ("/books/invoices/", "No invoice yet"),
        ("/books/payments/", "No payment yet"),
        ("/books/taxes/", "No rate yet"),
    ],
)
def test_an_empty_book_says_what_will_stand_here(shop: object, login: Login, address: str, words: str) -> None:
    assert words in text_of(login("owner").get(address))


def test_pages_ask_the_database_a_fixed_number_of_times(garage: Garage, login: Login) -> None:
    client = login("owner")

    def one_more() -> None:
        garage.pay(garage.issue(garage.done([labor("1"), part()])), "10.00")
        garage.job([labor()])
        garage.estimate(garage.job([labor()]))

    one_more()
    assert_budget(client, "/", 20, one_more)  # phones, steps and hours of the cars, and the services due
    assert_budget(client, "/books/", 14, one_more)
    assert_budget(client, "/books/invoices/", 8, one_more)
    assert_budget(client, "/books/payments/", 8, one_more)
    customer = Invoice.objects.all()[0].customer
    assert_budget(client, f"/customers/{customer.pk}/", 18, one_more)


def test_the_papers_ask_no_more_for_more_lines(garage: Garage, login: Login) -> None:
    client = login("owner")
    job = garage.job([labor()])
    estimate = garage.estimate(job)
    assert_budget(client, f"/estimates/{estimate.pk}/", 30, lambda: garage.line(job.operations.get(), **part()))
    many = garage.issue(garage.done(*[[labor("1"), part()] for _ in range(6)]))
    one = garage.issue(garage.done([labor("1")]))
    assert len(queries_of(client, f"/invoices/{many.pk}/")) == len(queries_of(client, f"/invoices/{one.pk}/")) <= 24


def test_a_fleet_s_few_open_invoices_are_found_behind_hundreds_of_paid_ones(garage: Garage, login: Login) -> None:
    fleet = garage.customer("Harrow Lane Deliveries")
    first = garage.issue(garage.done([part(price="10.00")], customer=fleet))
    for number in range(230):  # newer papers of the same name: what a find cut at some number would show first
        search.put("invoice", Invoice(pk=10_000 + number), title=f"Invoice {number}", words=["harrow lane deliveries"])
    client = login("reader")
    for address in ("/books/", "/books/invoices/?kind=owed"):
        answer = client.get(address, {"q": "harrow lane", "kind": "owed"})
        assert first.label in text_of(answer), address
