"""Today, and what every list has in common: the next act of a row, by role, and the mark of what is late."""

import datetime as dt
import re
from collections.abc import Callable
from decimal import Decimal
from html import unescape

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from garage import late
from garage.clock import fixed
from garage.models import OutgoingMail
from invoicing.models import Receivable
from jobs.actions.stages import cancel_job
from jobs.day import hours_left
from jobs.models import DueService, Job, Procedure, Stage
from jobs.queries_bay import Steps
from parts.actions.items import save_item
from tests.budget import assert_budget
from tests.invoicing.cast import Garage, labor, part
from tests.jobs.bay_cast import in_bay

D = Decimal
Login = Callable[[str], Client]

pytestmark = pytest.mark.usefixtures("real_clock")


def page_of(client: Client, url: str = "/") -> str:
    response = client.get(url)
    assert response.status_code == 200, url
    return unescape(" ".join(response.content.decode().split()))


def row_with(page: str, words: str) -> str:
    """The row of a list, or of a table, that says these words."""
    rows = re.findall(r"<li\b.*?</li>|<tr\b.*?</tr>", page.partition("<main")[2])
    found = [row for row in rows if words in row]
    assert len(found) == 1, (words, len(found))
    return found[0]


def said(piece: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", piece).split())


def promised(garage: Garage, minutes: int, *operations: list[dict[str, object]]) -> Job:
    return garage.job(*operations, promised_at=garage.now + dt.timedelta(minutes=minutes))


def due_service(garage: Garage, name: str, days: int, procedure: Procedure) -> None:
    job = garage.job([labor()], customer=garage.customer(name))
    assert job.vehicle is not None
    DueService.objects.create(
        vehicle=job.vehicle,
        component=procedure.component,
        procedure=procedure,
        operation=job.operations.get(),
        last_on=timezone.localdate() - dt.timedelta(days=400),
        every_months=12,
        unit="mi",
        on=timezone.localdate() - dt.timedelta(days=days),
        because="time",
    )


class TestCars:
    def test_a_row_begins_with_its_promise_and_says_how_late_it_is(self, garage: Garage, login: Login) -> None:
        promised(garage, -26, [labor()])
        row = row_with(page_of(login("counter")), "KET-118")
        when = row.partition('class="when"')[2].partition("</div>")[0]
        assert re.search(r'<b class="late">[^<]+<small>26 min late</small></b>', when)
        assert row.index('class="when"') < row.index("KET-118") < row.index("row-act")

    def test_one_that_is_finished_is_late_no_more(self, garage: Garage, login: Login) -> None:
        job = garage.done([labor()], promised_at=garage.now - dt.timedelta(hours=1))
        page = page_of(login("counter"))
        assert "Promised for today" in page and 'class="late"' not in page
        assert f'href="{reverse("invoicing:invoice-make", args=[job.pk])}">Make invoice' in row_with(page, "KET-118")

    def test_what_waits_says_how_long_for_whom_at_which_phone_and_for_how_much(
        self, garage: Garage, login: Login
    ) -> None:
        estimate = garage.estimate(garage.job([labor("1")]))
        Job.objects.update(stage_since=garage.now - dt.timedelta(minutes=80))
        row = row_with(page_of(login("counter")), "KET-118")
        assert said(row).startswith("1 h 20 KET-118 · 2016 Brannock Fell 2.4")
        assert '<a href="tel:5550142">555-0142</a>' in row
        assert "waits for Odile Marrant since" in row and said(row).count("Odile Marrant") == 1
        assert f"estimate ${estimate.gross}" in row
        assert "Record authorization" in row

    def test_the_title_says_the_day_the_cars_and_the_hours_left(self, garage: Garage, login: Login) -> None:
        promised(garage, 0, [labor("1.5")], [labor("0.7"), part()])
        garage.done([labor("3")], promised_at=garage.now)
        garage.job([labor("9")])  # not promised for today
        page = page_of(login("owner"))
        title = page.partition('<header class="title">')[2].partition("</header>")[0]
        today = timezone.localdate()
        assert f"{today:%A, %B} {today.day}" in title
        assert "2 cars promised, 2.2 hours of work left" in title
        assert f'href="{reverse("jobs:intake")}">New visit' in title

    def test_declined_work_is_no_work_left(self, garage: Garage, login: Login) -> None:
        job = promised(garage, 0, [labor("1")], [labor("5")])
        estimate = garage.estimate(job)
        declined = estimate.operations.get(position=2).operation_id
        assert declined is not None
        garage.authorize(estimate, {declined: "later"})
        assert "1 car promised, 1.0 hours of work left" in page_of(login("owner"))

    def test_steps_are_shown_as_a_bar_with_its_words(self, garage: Garage, login: Login) -> None:
        bay = in_bay(garage.people, garage.now)
        bay.do(1)
        bay.do(2, reading="0.82")
        bar = '<progress value="2" max="7" aria-label="2 of 7 steps done"'
        assert bar in row_with(page_of(login("counter")), "KET-118")
        mine = page_of(login("technician"))
        assert bar in mine and f'href="{reverse("jobs:bay-job", args=[bay.job.pk])}">Continue' in mine

    @pytest.mark.parametrize(("steps", "hours"), [(Steps(0, 0), "1.2"), (Steps(4, 1), "0.3"), (Steps(4, 0), "0")])
    def test_hours_go_down_with_the_steps(self, steps: Steps, hours: str) -> None:
        assert hours_left(D("1.2"), steps) == D(hours)

    def test_an_invoice_of_another_day_is_not_on_today(self, garage: Garage, login: Login) -> None:
        garage.issue(garage.done([labor()]))
        assert "Invoiced today, to be paid" in page_of(login("counter"))
        Job.objects.update(stage_since=garage.now - dt.timedelta(days=2))
        assert "Invoiced today, to be paid" not in page_of(login("counter"))

    def test_no_row_has_an_act_for_who_may_not_do_it(self, garage: Garage, login: Login) -> None:
        garage.job([labor()], customer=garage.customer("Thea Winslow"))
        garage.authorize(garage.estimate(garage.job([labor()])))
        garage.done([labor()], customer=garage.customer("Priya Venkat"))
        mine = page_of(login("technician"))
        assert "Winslow" not in mine and "Venkat" not in mine and "tel:" not in mine
        ready = Job.objects.get(stage=Stage.READY)
        start = reverse("jobs:bay-start", args=[ready.pk])
        assert re.search(rf'<form method="post" action="{start}".*?>Start work', row_with(mine, "KET-119"))
        read = page_of(login("reader"))
        assert "Priya Venkat" in read and "Make invoice" not in read and "New visit" not in read


class TestBeside:
    def test_what_is_overdue_is_listed_with_its_days_and_summed(self, garage: Garage, login: Login) -> None:
        for name in ("Ashgrove Landscaping", "Pike & Daughters"):
            garage.issue(garage.done([labor("1")], customer=garage.customer(name)))
        Receivable.objects.update(due_on=timezone.localdate() - dt.timedelta(days=46))
        page = page_of(login("counter"))
        assert '2 invoices overdue</b><b class="number">$256.00</b>' in page
        row = row_with(page, "Ashgrove Landscaping</a>")
        assert '<b class="late">46 days overdue</b>' in row and "$128.00" in row and "Record payment" in row
        read = page_of(login("reader"))
        assert "46 days overdue" in read and "Record payment" not in read

    def test_what_runs_low_leads_to_the_order_list(self, garage: Garage, login: Login) -> None:
        fields = {"kind": "part", "name": "Wiper blade", "base_unit": "each", "price": D(9), "minimum": D(2)}
        save_item(actor=garage.actor, clock=fixed(garage.now), fields=fields)
        page = page_of(login("counter"))
        assert "1 item runs low" in page and f'href="{reverse("parts:low")}">Order list' in page
        assert "Wiper blade" in page

    def test_mail_that_waits_and_mail_that_failed(
        self, garage: Garage, login: Login, settings: pytest.FixtureRequest
    ) -> None:
        garage.issue(garage.done([labor()]), mail_to="odile@example.com")
        assert "1 message waits: no mail server is set" in page_of(login("counter"))
        OutgoingMail.objects.update(state=OutgoingMail.State.FAILED, problem="The address is unknown.")
        page = page_of(login("counter"))
        assert "The address is unknown." in page and "no mail server is set" not in page

    def test_services_that_are_overdue(self, garage: Garage, login: Login) -> None:
        procedure = in_bay(garage.people, garage.now).revision.procedure
        due_service(garage, "Thea Winslow", 12, procedure)
        due_service(garage, "Priya Venkat", -12, procedure)
        page = page_of(login("counter")).partition("Services due")[2]
        assert '<b class="late">12 days overdue</b>' in page
        assert page.count("days overdue") == 1 and "?within=overdue" not in page  # nothing is left out


def test_an_empty_book_has_one_sentence_and_the_act_that_fills_it(shop: object, login: Login) -> None:
    page = page_of(login("owner"))
    assert "Nothing waits today" in page and "No car promised" in page
    assert "New visit" in page and '<aside class="margin"' not in page


def test_cars_without_anything_beside_and_the_other_way_round(garage: Garage, login: Login) -> None:
    job = garage.job([labor()])
    assert "Nothing else waits." in page_of(login("counter"))
    cancel_job(job=job, reason="sold the car", actor=garage.actor, clock=fixed(garage.now))
    garage.issue(garage.done([labor()]))
    Receivable.objects.update(due_on=timezone.localdate() - dt.timedelta(days=1))
    Job.objects.update(stage_since=garage.now - dt.timedelta(days=2))
    page = page_of(login("counter"))
    assert "No car waits" in page and "1 day overdue" in page


@pytest.mark.timeout(600)
def test_no_more_is_asked_for_more_cars_and_more_beside_them(garage: Garage, login: Login) -> None:
    procedure = in_bay(garage.people, garage.now).revision.procedure
    names = iter(f"Customer {nth}" for nth in range(20))

    def one_more() -> None:
        name = next(names)
        promised(garage, 0, [labor()])
        garage.estimate(garage.job([labor()]))
        garage.issue(garage.done([labor()], customer=garage.customer(name)))
        Receivable.objects.update(due_on=timezone.localdate() - dt.timedelta(days=3))
        due_service(garage, name, 5, procedure)

    for _nth in range(5):  # from here on the margin is cut and counts what it leaves out
        one_more()
    assert_budget(login("owner"), "/", 29, one_more)
    assert_budget(login("technician"), "/", 12, one_more)


# The next act, in every list


def owed(garage: Garage, days: int = 46) -> Job:
    """A job whose invoice was due so many days ago, within the two weeks that the shop gives."""
    today, garage.now = garage.now, garage.days_ago(days + 14)
    job = garage.done([labor("1")])
    garage.issue(job)
    garage.now = today
    return job


@pytest.mark.parametrize("where", ["counter", "customer", "vehicle", "visits"])
@pytest.mark.parametrize(
    ("stage", "label", "page"),
    [
        (Stage.WRITTEN_UP, "Write estimate", "jobs:sheet"),
        (Stage.AWAITING, "Record authorization", "invoicing:authorize"),
        (Stage.READY, "Start work", "jobs:sheet"),
        (Stage.IN_BAY, "Open steps", "jobs:bay-job"),
        (Stage.FINISHED, "Make invoice", "invoicing:invoice-make"),
        (Stage.INVOICED, "Record payment", "invoicing:job-pay"),
        (Stage.CLOSED, "", ""),
    ],
)
def test_every_list_of_jobs_offers_the_next_act(
    garage: Garage, login: Login, where: str, stage: str, label: str, page: str
) -> None:
    job = garage.job([labor()])
    Job.objects.update(stage=stage)
    urls = {
        "counter": reverse("counter"),
        "customer": reverse("customer", args=[job.customer_id]),
        "vehicle": reverse("vehicle", args=[job.vehicle_id]),
        "visits": reverse("jobs:customer-visits", args=[job.customer_id]),
    }
    listed = page_of(login("counter"), urls[where])
    if where == "counter" and stage in (Stage.INVOICED, Stage.CLOSED):
        assert "No car is here" in listed  # the counter lists what is open
        return
    row = row_with(listed, f'href="{reverse("jobs:sheet", args=[job.pk])}"')
    acts = re.findall(r'<a class="act quiet small" href="([^"]+)">(.*?)</a>', row)
    wanted = [(reverse(page, args=[job.pk]), f'{label}<span class="visually-hidden">: {job}</span>')] if label else []
    assert acts == wanted


def test_in_the_bay_s_list_each_does_what_is_theirs(garage: Garage, login: Login) -> None:
    bay = in_bay(garage.people, garage.now)
    steps = reverse("jobs:bay-job", args=[bay.job.pk])
    assert f'href="{steps}">Continue<' in page_of(login("technician"), reverse("bay"))
    assert f'href="{steps}">Open steps<' in page_of(login("owner"), reverse("bay"))


def test_a_technician_is_offered_no_act_of_the_counter_on_a_car_s_page(garage: Garage, login: Login) -> None:
    job = garage.job([labor()])
    page = page_of(login("technician"), reverse("vehicle", args=[job.vehicle_id]))
    assert str(job) in page and "Write estimate" not in page


@pytest.mark.parametrize("where", ["invoices", "books", "customer", "vehicle"])
def test_every_list_of_invoices_offers_to_take_what_is_owed(garage: Garage, login: Login, where: str) -> None:
    job = owed(garage)
    receivable = Receivable.objects.get()
    url = {
        "invoices": reverse("invoicing:invoices"),
        "books": reverse("books"),
        "customer": reverse("customer", args=[job.customer_id]),
        "vehicle": reverse("vehicle", args=[job.vehicle_id]),
    }[where]
    row = row_with(
        page_of(login("counter"), url), f'href="{reverse("invoicing:invoice", args=[receivable.invoice_id])}"'
    )
    pay = reverse("invoicing:payment-add", args=[receivable.invoice_id])
    assert f'<a class="act quiet small" href="{pay}">Record payment<span class="visually-hidden">:' in row
    assert '<b class="late">46 days overdue</b>' in row
    if where in ("invoices", "books"):
        assert "Record payment" not in page_of(login("reader"), url)
    garage.pay(receivable.invoice, "128.00")
    assert "Record payment<" not in page_of(login("counter"), url)


def test_a_job_s_payment_leads_to_its_invoice(garage: Garage, login: Login) -> None:
    job = owed(garage)
    invoice, pay = Receivable.objects.get().invoice, reverse("invoicing:job-pay", args=[job.pk])
    client = login("counter")
    assert client.get(pay)["Location"] == reverse("invoicing:payment-add", args=[invoice.pk])
    garage.pay(invoice, "128.00")
    assert client.get(pay)["Location"] == reverse("jobs:sheet", args=[job.pk])
    assert login("technician").get(pay).status_code == 403


def test_the_books_margin_offers_to_make_the_invoice(garage: Garage, login: Login) -> None:
    job = garage.done([labor()])
    make = f'href="{reverse("invoicing:invoice-make", args=[job.pk])}">Make invoice'
    assert make in page_of(login("counter"), reverse("books"))
    assert "Make invoice" not in page_of(login("reader"), reverse("books"))


# What is late


def test_a_promise_that_was_not_kept_looks_the_same_everywhere(garage: Garage, login: Login) -> None:
    job = promised(garage, -150, [labor()])
    mark = re.compile(r'<b class="late">[^<]+<small>2 h 30 late</small></b>')
    for url in ("/", reverse("counter"), reverse("jobs:sheet", args=[job.pk]), reverse("bay")):
        assert mark.search(page_of(login("counter"), url)), url


def test_an_invoice_s_own_page_says_by_how_much_it_is_overdue(garage: Garage, login: Login) -> None:
    owed(garage, days=1)
    page = page_of(login("counter"), reverse("invoicing:invoice", args=[Receivable.objects.get().invoice_id]))
    assert re.search(r'<span class="stage late">\$128\.00 overdue since [^<]+, 1 day</span>', page)


@pytest.mark.parametrize(
    ("minutes", "words"),
    [(0, "0 min"), (59, "59 min"), (60, "1 h 00"), (1439, "23 h 59"), (1440, "1 day"), (4320, "3 days")],
)
def test_how_long_something_waits_is_said_as_one_would(minutes: int, words: str) -> None:
    now = timezone.now()
    assert late.span(now - dt.timedelta(minutes=minutes), now) == words
