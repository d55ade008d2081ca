"""What is past its day or its distance says so and by how much: the invoice's page, the recommended work and the next
due dates on its paper, and what its mail says is to be paid."""

import datetime as dt
import io
import re
import uuid
from collections.abc import Callable
from html import unescape

import pypdf
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from garage import dates, documents, printing
from garage.actions.vehicles import read_odometer
from garage.clock import fixed
from garage.models import OutgoingMail
from invoicing import papers
from invoicing.actions.issuing import mail_invoice
from invoicing.models import Invoice
from jobs.actions.evidence import Limit, note_advisory
from jobs.actions.procedures import publish
from jobs.models import DueService, Job
from jobs.procedure_files import parse
from tests.invoicing.cast import Garage, labor, part
from tests.jobs.bay_cast import PROCEDURE, stock_item

Login = Callable[[str], Client]
DAY = dt.timedelta(1)


def words(markup: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", markup)))


def printed(invoice: Invoice) -> str:
    pdf = printing.render(documents.paper_of(papers.invoice_paper(invoice.pk)))
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))


@pytest.fixture
def two_months_ago(garage: Garage) -> Garage:
    """The garage 60 days before today: what it issues is due after 14 of them."""
    garage.live()
    garage.now = garage.days_ago(60)
    return garage


class TestInvoice:
    def test_its_page_says_since_when_and_how_much_is_overdue(self, two_months_ago: Garage, login: Login) -> None:
        invoice = two_months_ago.issue(two_months_ago.done([labor("1"), part()]))
        two_months_ago.pay(invoice, "100.00")
        page = login("reader").get(reverse("invoicing:invoice", args=[invoice.pk])).content.decode()
        said = f"$108.33 overdue since {dates.day(invoice.due_on)}, 46 days"
        warned = re.findall(r'<(?:span|b) class="[^"]*(?:wrong|late)[^"]*">(.*?)</(?:span|b)>', page)
        assert [unescape(text) for text in warned].count(said) == 2  # in the title line and beside the payments

    def test_the_customers_account_says_it_too(self, two_months_ago: Garage, login: Login) -> None:
        invoice = two_months_ago.issue(two_months_ago.done([labor("1")]))
        account = reverse("invoicing:account", args=[invoice.customer_id])
        assert '<b class="late">46 days overdue</b>' in login("reader").get(account).content.decode()

    def test_its_paper_stays_what_it_was_when_issued(self, two_months_ago: Garage) -> None:
        invoice = two_months_ago.issue(two_months_ago.done([labor("1")]))
        text = printed(invoice)
        assert f"due {dates.day(invoice.due_on)}" in text and "overdue" not in text

    def test_what_is_due_today_or_paid_is_not_overdue(self, two_months_ago: Garage, login: Login) -> None:
        paid = two_months_ago.issue(two_months_ago.done([labor("1")]))
        two_months_ago.pay(paid, "128.00")
        due_today = two_months_ago.issue(two_months_ago.done([labor("1")]), due_on=timezone.localdate())
        for invoice in (paid, due_today):
            page = login("reader").get(reverse("invoicing:invoice", args=[invoice.pk])).content.decode()
            assert "overdue" not in page


class TestPaper:
    def noted(self, garage: Garage, job: Job, text: str, limit: Limit) -> None:
        note_advisory(
            key=uuid.uuid4(), job=job, text=text, limit=limit, actor=garage.actor,
            clock=fixed(garage.now - 60 * DAY),
        )  # fmt: skip

    def test_recommended_work_says_that_it_is_overdue_at_the_papers_day(self, garage: Garage) -> None:
        job = garage.job([labor("1")])
        today = garage.today
        self.noted(garage, job, "Rear pads at 3 mm", Limit("distance", odometer=81_860))
        self.noted(garage, job, "Wiper blades torn", Limit("date", day=today - 46 * DAY))
        self.noted(garage, job, "Front pads at 6 mm", Limit("distance", odometer=95_000))
        self.noted(garage, job, "Belt is cracking", Limit("date", day=today))
        garage.authorize(garage.estimate(job))
        text = printed(garage.issue(garage.finish(garage.into_bay(job))))  # at 88,414 mi
        assert "Rear pads at 3 mm; to be done by 81,860 mi: overdue by 6,554 mi." in text
        assert re.search(r"Wiper blades torn; to be done by \w+ \d+, 2026: overdue by 46 days\.", text)
        assert "Front pads at 6 mm; to be done by 95,000 mi." in text
        assert re.search(r"Belt is cracking; to be done by \w+ \d+, 2026\.", text)

    def test_a_next_due_date_that_is_past_says_so(self, garage: Garage) -> None:
        stock_item("Transfer case fluid", "TC-75", "L", 1, "1", garage.actor, garage.now)
        stock_item("Sealing washer", "W-10", "each", 1, "10", garage.actor, garage.now)
        revision = publish(written=parse(PROCEDURE), actor=garage.actor, clock=fixed(garage.now))
        before, job = garage.job([labor("1")]).operations.get(), garage.job([labor("1")])
        assert job.vehicle is not None
        service = DueService.objects.create(
            vehicle=job.vehicle, component=revision.procedure.component, procedure=revision.procedure,
            operation=before, last_on=dt.date(2024, 1, 10), last_odometer=58_000,
            every_distance=30_000, every_months=24, odometer=88_000, unit="mi", on=dt.date(2025, 6, 1),
            because="distance",
        )  # fmt: skip
        garage.authorize(garage.estimate(job))
        text = printed(garage.issue(garage.finish(garage.into_bay(job))))  # on March 2, 2026, at 88,414 mi
        assert (
            "Transfer case fluid, change: at 88,000 mi or in January 2026, whichever comes first: "
            "overdue by 414 mi and 51 days." in text
        )
        assert service.procedure.title in text

    def test_a_day_that_was_only_foreseen_is_not_overdue_while_the_odometer_says_otherwise(
        self, garage: Garage
    ) -> None:
        stock_item("Transfer case fluid", "TC-75", "L", 1, "1", garage.actor, garage.now)
        stock_item("Sealing washer", "W-10", "each", 1, "10", garage.actor, garage.now)
        revision = publish(written=parse(PROCEDURE), actor=garage.actor, clock=fixed(garage.now))
        before, job = garage.job([labor("1")]).operations.get(), garage.job([labor("1")])
        assert job.vehicle is not None
        DueService.objects.create(
            vehicle=job.vehicle, component=revision.procedure.component, procedure=revision.procedure,
            operation=before, last_on=dt.date(2024, 6, 10), last_odometer=62_000,
            every_distance=30_000, odometer=92_000, unit="mi", on=dt.date(2026, 2, 1), because="distance",
        )  # fmt: skip
        garage.authorize(garage.estimate(job))
        text = printed(garage.issue(garage.finish(garage.into_bay(job))))
        assert "Transfer case fluid, change: at 92,000 mi." in text


class TestScreens:
    def test_recommended_work_is_overdue_wherever_it_is_offered(self, two_months_ago: Garage, login: Login) -> None:
        garage = two_months_ago
        job = garage.job([labor("1")])
        limit = Limit("distance", odometer=90_000)
        note_advisory(
            key=uuid.uuid4(), job=job, text="Rear pads at 3 mm", limit=limit, actor=garage.actor,
            clock=fixed(garage.now),
        )  # fmt: skip
        car = job.vehicle
        assert car is not None
        client = login("counter")
        pages = [
            reverse("vehicle", args=[car.pk]),
            reverse("jobs:sheet", args=[job.pk]),
            f"{reverse('jobs:intake')}?customer={car.owner_id}&vehicle={car.pk}",
        ]
        assert not any("mi over" in client.get(page).content.decode() for page in pages)
        read_odometer(
            vehicle=car, reading=96_554, unit="mi", on=timezone.localdate(), actor=garage.actor,
            clock=fixed(timezone.now()),
        )  # fmt: skip
        for page in pages:
            markup = client.get(page).content.decode()
            assert re.search(r'class="(?:wrong|late)">6,554 mi over<', markup), page


class TestMail:
    def test_an_invoices_mail_says_what_is_to_be_paid_and_by_when(self, garage: Garage) -> None:
        invoice = garage.issue(garage.done([labor("1")]), mail_to="odile@example.com")
        text = OutgoingMail.objects.get().text
        due = dates.day(invoice.due_on)
        assert f"attached is invoice {invoice.label} for your 2016 Brannock Fell 2.4: $128.00, due {due}." in text

    def test_after_a_deposit_it_says_what_is_left_and_once_paid_that_it_is(self, garage: Garage) -> None:
        job = garage.job([labor("1")])
        garage.authorize(garage.estimate(job))
        garage.deposit(job, "60.00")
        garage.finish(garage.into_bay(job))
        invoice = garage.issue(job, mail_to="odile@example.com")
        due = dates.day(invoice.due_on)
        assert f": $128.00, $68.00 left to pay, due {due}." in OutgoingMail.objects.get().text
        garage.pay(invoice, "68.00")
        again = Invoice.objects.get(pk=invoice.pk)
        mail_invoice(invoice=again, to="piet@example.com", actor=garage.actor, clock=fixed(garage.now))
        assert ": $128.00, paid." in OutgoingMail.objects.get(to="piet@example.com").text
