"""No list is cut without saying so: each page with one row more than it shows says how many there are, and where."""

import datetime as dt
import re
import uuid
from collections.abc import Callable
from decimal import Decimal
from html import unescape
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from garage import search
from garage.actions.customers import save_customer
from garage.actions.vehicles import read_odometer
from garage.clock import fixed
from garage.errors import Refused
from garage.models import OutgoingMail
from garage.queries import written_down_before
from invoicing import panels as invoicing_panels
from invoicing import today, today_margin
from invoicing.actions.issuing import mail_invoice
from invoicing.views import books
from jobs import intake_search
from jobs import panels as jobs_panels
from jobs.actions.evidence import Limit, note_advisory
from jobs.actions.intake import open_job
from jobs.actions.procedures import publish
from jobs.actions.stages import cancel_job
from jobs.actions.writing_up import take_up
from jobs.models import Job
from jobs.procedure_files import parse
from jobs.queries import procedures_for
from jobs.views import procedures
from parts import forms_receive, item_page
from parts.actions.items import save_item
from parts.actions.receiving import Delivered, opening_stock, receive
from parts.models import Item
from parts.views import items as item_views
from parts.views import shelf
from tests.invoicing.cast import Garage, labor, part
from tests.jobs.bay_cast import PROCEDURE, stock_item

D = Decimal
Login = Callable[[str], Client]


@pytest.fixture
def garage(garage: Garage) -> Garage:
    garage.now = timezone.now()
    return garage


@pytest.fixture
def two_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every list shows two."""
    for module, name in [
        (jobs_panels, "SHOWN"), (invoicing_panels, "SHOWN"), (today, "SHOWN"), (today_margin, "SHOWN"),
        (books, "OWED_SHOWN"), (intake_search, "SHOWN"), (procedures, "SHOWN"), (item_views, "FOUND_SHOWN"),
        (shelf, "LOW_AT_FIRST"), (item_page, "CONTAINER_ROWS"), (forms_receive, "OFFERED"),
    ]:  # fmt: skip
        monkeypatch.setattr(module, name, 2)


def words(client: Client, url: str, *, piece: bool = False) -> str:
    """What a page says, without its markup."""
    response = client.get(url, headers={"HX-Request": "true"} if piece else None)
    assert response.status_code == 200, url
    text = re.sub(r"<[^>]+>", " ", re.sub(r"<(script|style).*?</\1>", "", response.content.decode(), flags=re.S))
    return " ".join(unescape(text).split())


def all_of(client: Client, url: str) -> str:
    """Where the sentence of a page leads."""
    html = client.get(url).content.decode()
    found = re.findall(r'<p class="cut">.*?href="([^"]+)"', html, flags=re.S)
    assert len(found) == 1, found
    address = unescape(found[0])
    return f"{url.partition('?')[0]}{address}" if address.startswith("?") else address


def visits(garage: Garage, number: int) -> list[Job]:
    """Jobs of one customer and one car; each one but the last is called off, so that the next can be opened."""
    owner = garage.customer()
    car = garage.car(owner)
    made = []
    for nth in range(number):
        given = {"key": uuid.uuid4(), "customer": owner, "vehicle": car, "concern": f"Noise {nth}"}
        job = open_job(**given, actor=garage.actor, clock=fixed(garage.now))  # type: ignore[arg-type]
        if nth < number - 1:
            cancel_job(job=job, reason="Called off", actor=garage.actor, clock=fixed(garage.now))
        made.append(job)
    return made


def low_items(garage: Garage, number: int) -> list[Item]:
    return [
        save_item(
            actor=garage.actor,
            clock=fixed(garage.now),
            fields={"kind": "part", "name": f"Wiper blade {nth}", "base_unit": "each", "minimum": D(2), "price": D(18)},
        )
        for nth in range(number)
    ]


@pytest.mark.usefixtures("two_shown")
class TestPanels:
    @pytest.mark.parametrize("kind", ["customer", "vehicle"])
    def test_visits(self, kind: str, garage: Garage, login: Login) -> None:
        job = visits(garage, 3)[0]
        client = login("counter")
        url = reverse(kind, args=[getattr(job, f"{kind}_id")])
        assert "2 of 3 shown. Show all 3" in words(client, url)
        everything = words(client, all_of(client, url))
        assert all(f"Noise {nth}" in everything for nth in range(3))

    def test_visits_of_a_vehicle_for_a_technician(self, garage: Garage, login: Login) -> None:
        job = visits(garage, 3)[0]
        client = login("technician")
        url = reverse("vehicle", args=[job.vehicle_id])
        assert "Noise 0" in words(client, all_of(client, url))
        assert client.get(reverse("jobs:customer-visits", args=[job.customer_id])).status_code == 403

    @pytest.mark.parametrize("kind", ["customer", "vehicle"])
    def test_invoices(self, kind: str, garage: Garage, login: Login) -> None:
        first = garage.issue(garage.done([part()]))
        other = garage.issue(garage.done([part()], customer=garage.customer("Bram Holt")))
        garage.credit(first, lines={line.pk: D(1) for line in first.operations.get().lines.all()}, bill_again=True)
        job = first.job
        assert job is not None
        job.refresh_from_db()
        again = garage.issue(job)
        client = login("reader" if kind == "vehicle" else "counter")
        url = reverse(kind, args=[getattr(job, f"{kind}_id")])
        if kind == "vehicle":
            client = login("counter")
        assert "2 of 3 shown. Show all 3" in words(client, url)
        listed = words(client, all_of(client, url))
        assert first.label in listed
        assert again.label in listed
        assert other.label not in listed

    def test_readings(self, garage: Garage, login: Login, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("garage.views.vehicles.READINGS_SHOWN", 2)
        car = garage.car(garage.customer())
        for nth in range(3):
            read_odometer(
                vehicle=car,
                reading=88_000 + nth,
                unit="mi",
                on=timezone.localdate() - dt.timedelta(days=3 - nth),
                actor=garage.actor,
                clock=fixed(garage.now),
            )
        client = login("technician")
        url = reverse("vehicle", args=[car.pk])
        assert "88,000" not in words(client, url)
        assert "2 of 3 shown. Show all 3" in words(client, url)
        assert "88,000" in words(client, all_of(client, url))


@pytest.mark.usefixtures("two_shown")
class TestToday:
    def test_jobs(self, garage: Garage, login: Login) -> None:
        for _nth in range(3):
            garage.job([labor()])
        assert "2 of 3 shown. Show all 3" in words(login("counter"), reverse("today"))

    def test_what_is_low(self, garage: Garage, login: Login) -> None:
        low_items(garage, 3)
        client = login("counter")
        assert "2 of 3 shown. Show all 3" in words(client, reverse("today"))
        assert "Wiper blade 2" in words(client, all_of(client, reverse("today")))

    def test_what_is_overdue_to_be_invoiced_and_not_mailed(self, garage: Garage, login: Login) -> None:
        for nth in range(3):
            invoice = garage.issue(garage.done([part()], customer=garage.customer(f"Customer {nth}")))
            mail_invoice(invoice=invoice, to=f"a{nth}@example.com", actor=garage.actor, clock=fixed(garage.now))
            garage.done([part()], customer=garage.customer(f"Waiting {nth}"))
        OutgoingMail.objects.update(state=OutgoingMail.State.FAILED)
        said = words(login("reader"), reverse("today"))
        assert said.count("2 of 3 shown. Show all 3") == 2  # mail, and finished work to be invoiced
        front = words(login("reader"), reverse("books"))
        assert front.count("2 of 3 shown. Show all 3") == 2  # owed, and finished work to be invoiced
        assert "3 messages did not go out." in front
        assert "Waiting 2" in words(login("reader"), f"{reverse('books')}?all=1")


@pytest.mark.usefixtures("two_shown")
class TestShelf:
    def test_what_is_low(self, garage: Garage, login: Login) -> None:
        low_items(garage, 3)
        said = words(login("counter"), reverse("shelf"))
        assert "2 of 3 shown. Show all 3" in said
        assert "3 run low" in said

    def test_containers_of_an_item(self, garage: Garage, login: Login) -> None:
        fluid = garage.fluid()
        for nth in range(2):
            opening_stock(
                key=uuid.uuid4(),
                item=fluid,
                pack=fluid.packs.get(),
                packs=1,
                unit_cost=D(30 + nth),
                actor=garage.actor,
                clock=fixed(garage.now),
            )
        client = login("technician")
        url = reverse("parts:item", args=[fluid.pk])
        assert "2 of 3 shown. Show all 3" in words(client, url)
        assert all_of(client, url) == reverse("parts:containers", args=[fluid.pk])

    def test_finds_on_the_pages_that_pick_an_item(self, garage: Garage, login: Login) -> None:
        first, *_others = low_items(garage, 4)
        client = login("counter")
        replaced = words(client, reverse("parts:replace", args=[first.pk]) + "?q=wiper")
        assert "2 of 3 shown. Type more to narrow it." in replaced
        arrived = words(client, reverse("parts:receive") + "?what=wiper")
        assert "The first 2 are shown, there are more. Type more to narrow it." in arrived

    def test_a_full_delivery_sheet_says_what_does_not_fit(
        self, garage: Garage, login: Login, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(forms_receive, "MOST_LINES", 2)
        keys = [item.pk for item in low_items(garage, 3)]
        asked = "&".join(f"pack={key}-" for key in keys)
        said = words(login("counter"), f"{reverse('parts:receive')}?{asked}")
        assert "1 more line does not fit on one sheet. Receive these first, then the other." in said


@pytest.mark.usefixtures("two_shown")
class TestWork:
    def test_procedures_in_the_library_and_on_a_job(
        self, garage: Garage, login: Login, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        stock_item("Transfer case fluid", "TC-75", "L", 1, "1", garage.actor, garage.now)
        stock_item("Sealing washer", "W-10", "each", 1, "10", garage.actor, garage.now)
        for nth in range(3):
            written = parse(PROCEDURE.replace("Transfer case fluid, change", f"Way {nth}"))
            publish(written=written, actor=garage.actor, clock=fixed(garage.now))
        client = login("technician")
        assert "2 of 3 shown. Show all 3" in words(client, reverse("jobs:procedures"))
        assert "Way 2" in words(client, all_of(client, reverse("jobs:procedures")))
        monkeypatch.setattr(
            "jobs.views.operations.procedures_for", lambda car, text: procedures_for(car, text, limit=2)
        )
        page = words(login("counter"), reverse("jobs:operation-add", args=[garage.job().pk]))
        assert "2 of 3 shown. Type more to narrow it." in page

    def test_items_for_a_line(self, garage: Garage, login: Login, monkeypatch: pytest.MonkeyPatch) -> None:
        low_items(garage, 9)
        job = garage.job([labor()])
        url = reverse("jobs:line-add", args=[job.operations.get().pk])
        page = words(login("counter"), f"{url}?q=wiper", piece=True)
        assert "8 of 9 shown. Type more to narrow it." in page


class TestFinds:
    def test_many_customers(self, garage: Garage, login: Login, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(intake_search, "SHOWN", 8)
        customers = [garage.customer(f"Zelda Fenn {nth}") for nth in range(31)]
        client = login("counter")
        car = garage.car(customers[0])
        more = "are shown, there are more. Type more"
        for url, shown in [
            (reverse("find"), 30),
            (reverse("counter"), 30),
            (reverse("vehicle-owner", args=[car.pk]), 30),
            (reverse("customer-merge", args=[customers[0].pk]), 20),
        ]:
            assert f"The first {shown} {more}" in words(client, f"{url}?q=zelda"), url
        intake = words(client, f"{reverse('jobs:intake-customers')}?find=zelda", piece=True)
        assert f"The first 8 {more}" in intake
        assert more not in words(client, f"{reverse('find')}?q=zelda+fenn+30")


class TestTexts:
    """What somebody wrote is refused with a sentence where there is no room for it, and is never cut."""

    @pytest.mark.parametrize("act", ["note", "receive", "cancel"])
    def test_too_long_is_said(self, act: str, garage: Garage) -> None:
        job = garage.job([part()])
        item = low_items(garage, 1)[0]
        who: dict[str, Any] = {"actor": garage.actor, "clock": fixed(garage.now)}
        line = Delivered(None, item, 1, D(9))
        acts: dict[str, Callable[[], object]] = {
            "note": lambda: note_advisory(key=uuid.uuid4(), job=job, text="x" * 201, limit=Limit("next"), **who),
            "receive": lambda: receive(key=uuid.uuid4(), supplier=None, reference="x" * 61, lines=[line], **who),
            "cancel": lambda: cancel_job(job=job, reason="x" * 201, **who),
        }
        with pytest.raises(Refused, match=r"This may have \d+ characters and has \d+: say it shorter\."):
            acts[act]()

    def test_the_form_says_it_beside_the_field_and_keeps_what_was_typed(self, garage: Garage, login: Login) -> None:
        job = garage.job([part()])
        reply = login("technician").post(reverse("jobs:advisory", args=[job.pk]), {"text": "x" * 201, "limit": "next"})
        assert reply.status_code == 422
        assert "At most 200 characters: this has 201." in reply.content.decode()
        assert "x" * 201 in reply.content.decode()

    def test_recommended_work_is_written_up_in_all_its_words(self, garage: Garage) -> None:
        text = f"{'Rear pads at 3 mm, ' * 10}look again"
        who: dict[str, Any] = {"actor": garage.actor, "clock": fixed(garage.now)}
        job = garage.job([part()])
        noticed = note_advisory(key=uuid.uuid4(), job=job, text=text, limit=Limit("next"), **who)
        assert take_up(job=job, offer=noticed, **who).title == text

    def test_a_long_phone_number_is_found_by_all_its_digits(self, garage: Garage) -> None:
        number = "+1 555 0142 ext 12345678901234567890"
        row = save_customer(
            fields={"name": "Zelda Fenn"}, phones=[(number, "")], emails=[], actor=garage.actor, clock=fixed(garage.now)
        )
        assert row.phones.get().digits == search.digits(number)
        assert written_down_before("Zelda Fenn", [number]) == row

    def test_a_line_among_the_finds_that_goes_on_says_so(self, garage: Garage) -> None:
        customer = garage.customer(address="4 Quay Street, " * 30)
        (found,) = search.find("odile", kinds=["customer"])
        assert found.object_id == customer.pk
        assert found.subtitle.endswith("…")
