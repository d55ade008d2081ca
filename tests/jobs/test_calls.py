"""The services due as a list to call from: one row a car, what is due on it by how much, and what narrows the list."""

import datetime as dt
import re
from dataclasses import dataclass
from html import unescape
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from garage.actions.merging import merge_vehicle
from garage.actions.vehicles import read_odometer
from garage.clock import fixed
from garage.models import User, Vehicle
from jobs.actions.procedures import publish
from jobs.models import Component, DueService, Operation, ProcedureRevision
from jobs.procedure_files import parse
from tests.budget import assert_budget
from tests.jobs.bay_cast import PROCEDURE, car, stock_item, written_up

ROW = re.compile(r"<tr>(.*?)</tr>", re.DOTALL)


@dataclass
class Book:
    """Cars with services due, told from today."""

    owner: User
    today: dt.date
    fluid: ProcedureRevision
    brakes: ProcedureRevision
    visit: Operation

    @property
    def now(self) -> dt.datetime:
        return timezone.now()

    def car(self, plate: str, odometer: int = 88_000, days_ago: int = 200) -> Vehicle:
        vehicle = car(self.owner, self.now, plate)
        self.read(vehicle, odometer, days_ago)
        return vehicle

    def read(self, vehicle: Vehicle, odometer: int, days_ago: int = 0, **more: Any) -> None:
        on = self.today - dt.timedelta(days_ago)
        read_odometer(
            vehicle=vehicle, reading=odometer, unit="mi", on=on, actor=self.owner, clock=fixed(self.now), **more
        )

    def due(self, vehicle: Vehicle, days: int, at: int | None = None, **more: Any) -> DueService:
        """A service due in so many days, and at a distance."""
        revision = more.pop("revision", self.fluid)
        given = {
            "vehicle": vehicle, "component": revision.procedure.component, "procedure": revision.procedure,
            "operation": self.visit, "last_on": self.today - dt.timedelta(400), "unit": "mi",
            "on": self.today + dt.timedelta(days), "because": "time", "every_months": 24,
        }  # fmt: skip
        if at is not None:
            given |= {"last_odometer": at - 30_000, "every_distance": 30_000, "odometer": at}
        return DueService.objects.create(**{**given, **more})


@pytest.fixture
def book(shop: object, people: dict[str, User]) -> Book:
    owner, now = people["owner"], timezone.now()
    stock_item("Transfer case fluid", "TC-75", "L", 1, "1", owner, now)
    stock_item("Sealing washer", "W-10", "each", 1, "10", owner, now)
    fluid = publish(written=parse(PROCEDURE), actor=owner, clock=fixed(now))
    other = PROCEDURE.replace("Transfer case fluid, change", "Brake fluid, change")
    brakes = publish(
        written=parse(other.replace("component: Transfer case", "component: Brakes")), actor=owner, clock=fixed(now)
    )
    seen = car(owner, now - dt.timedelta(400), "OLD-1")
    visit = written_up(seen, fluid, owner, now - dt.timedelta(400), 60_000)
    return Book(owner, timezone.localdate(), fluid, brakes, visit)


@pytest.fixture
def client(login: Any) -> Client:
    counter: Client = login("counter")
    return counter


def page(client: Client, **asked: object) -> str:
    answer = client.get(reverse("jobs:due"), {name: str(value) for name, value in asked.items()})
    assert answer.status_code == 200
    return answer.content.decode()


def words(markup: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", markup))).strip()


def rows(client: Client, **asked: object) -> list[str]:
    """The words of each car's row."""
    return [words(row) for row in ROW.findall(page(client, **asked)) if "<td" in row]


def plates(client: Client, **asked: object) -> list[str]:
    return [found[0] for row in rows(client, **asked) if (found := re.search(r"[A-Z]{3}-\d+", row))]


def test_a_car_has_one_row_with_all_that_is_due_on_it_and_by_how_much(book: Book, client: Client) -> None:
    vehicle = book.car("KET-118", 94_564)
    book.due(vehicle, -46, at=88_010)
    book.due(vehicle, 23, revision=book.brakes)
    found = rows(client)
    assert len(found) == 1
    assert "Odile Marrant 555-0101" in found[0] and "KET-118" in found[0]
    assert "Transfer case fluid, change 6,554 mi over · 46 days overdue · at 88,010 mi" in found[0]
    assert "Brake fluid, change in 3 weeks" in found[0]
    markup = page(client)
    assert 'href="tel:5550101"' in markup  # RFC 3966
    assert '<b class="late">6,554 mi over · 46 days overdue</b>' in markup
    assert found[0].count("Transfer case fluid") == 1 and "1 car to call about" in words(markup)


def test_its_act_opens_a_visit_of_that_car_and_customer_with_the_services_offered(book: Book, client: Client) -> None:
    vehicle = book.car("KET-118")
    service = book.due(vehicle, -5)
    link = re.search(r'href="([^"]+)">New visit', page(client))
    assert link is not None
    intake = client.get(unescape(link[1])).content.decode()
    assert f'name="customer" value="{vehicle.owner_id}" checked' in intake
    assert f'name="vehicle" value="{vehicle.pk}" checked' in intake
    assert f'name="taken" value="due {service.pk}"' in intake and "5 days overdue" in intake


def test_a_car_past_its_distance_is_overdue_though_its_day_is_to_come(book: Book, client: Client) -> None:
    vehicle = book.car("KET-118", 88_000)
    book.due(vehicle, 400, at=90_000)
    assert plates(client, within="90") == []
    book.read(vehicle, 90_001)
    assert plates(client, within="overdue") == ["KET-118"]
    assert "1 mi over · at 90,000 mi" in rows(client)[0]


def test_a_distance_read_in_kilometers_is_compared_in_the_services_unit(book: Book, client: Client) -> None:
    vehicle = book.car("KET-118", 88_000)
    book.due(vehicle, 400, at=90_000)
    reading: dict[str, Any] = {
        "actor": book.owner,
        "clock": fixed(book.now),
        "vehicle": vehicle,
        "unit": "km",
        "on": book.today,
    }
    read_odometer(reading=144_840, **reading)  # 89,999 mi: a mile is 1.609344 km (international yard, 1959)
    assert plates(client, within="overdue") == []
    read_odometer(reading=144_843, **reading)  # 90,001 mi
    assert plates(client, within="overdue") == ["KET-118"]


def test_a_replaced_odometer_is_not_past_what_was_due_on_the_old_one(book: Book, client: Client) -> None:
    vehicle = book.car("KET-118", 88_000)
    book.due(vehicle, 400, at=90_000)
    book.read(vehicle, 10, 20, lower_reason="replaced", before=89_000)
    book.read(vehicle, 900, 10)
    assert plates(client, within="overdue") == []
    book.read(vehicle, 1_011)
    assert "1 mi over · at 1,010 mi" in rows(client, within="overdue")[0]


def test_how_soon_and_which_component_narrow_the_list_and_what_was_typed(book: Book, client: Client) -> None:
    for plate, days, revision in (
        ("AAA-1", -1, book.fluid), ("BBB-2", 0, book.fluid), ("CCC-3", 30, book.brakes), ("DDD-4", 31, book.fluid),
        ("EEE-5", 90, book.fluid), ("FFF-6", 91, book.brakes),
    ):  # fmt: skip
        book.due(book.car(plate), days, revision=revision)
    everything = ["AAA-1", "BBB-2", "CCC-3", "DDD-4", "EEE-5", "FFF-6"]
    assert plates(client, within="overdue") == everything[:1]
    assert plates(client) == plates(client, within="30") == everything[:3]
    assert plates(client, within="90") == everything[:5]
    assert plates(client, within="all") == everything
    brakes = Component.objects.get(name="Brakes")
    assert plates(client, within="all", part=brakes.pk) == ["CCC-3", "FFF-6"]
    assert plates(client, within="all", q="ddd 4") == ["DDD-4"]
    assert plates(client, within="all", q="5550101") == everything
    assert "Nothing due like that" in page(client, q="nobody at all")
    assert plates(client, within="sometime", part="x", after="yesterday.x") == everything[:3]


def test_pages_follow_each_other_lose_no_car_and_keep_what_narrows_them(
    book: Book, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("jobs.views.due.SHOWN", 2)
    for nth in range(5):
        book.due(book.car(f"AAA-{nth}"), nth // 2)  # two on a day: the car decides
    seen, markup = [], page(client, within="90", q="marrant")
    while True:
        seen.append([re.findall(r"AAA-\d", row)[0] for row in ROW.findall(markup) if "<td" in row])
        on = re.search(r'<a href="([^"]+)" rel="next">Later', markup)
        if on is None:
            break
        assert "within=90" in on[1] and "q=marrant" in on[1]
        markup = client.get(reverse("jobs:due") + unescape(on[1])).content.decode()
    assert [len(cars) for cars in seen] == [2, 2, 1] and len({plate for cars in seen for plate in cars}) == 5
    back = re.search(r'<a href="([^"]+)" rel="prev">Sooner', markup)
    assert back is not None
    assert "AAA-2" in words(client.get(reverse("jobs:due") + unescape(back[1])).content.decode())


def test_a_car_that_is_here_leads_to_its_job_and_one_without_an_owner_is_no_call(book: Book, client: Client) -> None:
    here = book.car("KET-118")
    job = written_up(here, book.fluid, book.owner, book.now, 88_500).job
    nobody = book.car("KET-119")
    Vehicle.objects.filter(pk=nobody.pk).update(owner=None)
    for vehicle in (here, nobody):
        book.due(vehicle, -3)
    markup = page(client)
    assert re.search(rf'href="{reverse("jobs:sheet", args=[job.pk])}">Here now', markup)
    assert markup[markup.index("<tbody") :].count(">New visit") == 1 and "no known owner" in markup


def test_a_car_that_was_written_down_twice_is_called_about_once(book: Book, client: Client) -> None:
    first, second = book.car("KET-118"), book.car("KET-118")
    book.due(first, -30)
    book.due(second, 300, last_on=book.today - dt.timedelta(10))  # the same service, done later
    book.due(second, -2, revision=book.brakes)
    merge_vehicle(vehicle=second, into=first, actor=book.owner, clock=fixed(book.now))
    found = rows(client)
    assert len(found) == 1
    assert "Brake fluid, change 2 days overdue" in found[0] and "30 days overdue" not in found[0]


def test_nothing_due_says_where_the_dates_come_from(book: Book, client: Client) -> None:
    assert "When a job is finished, each serviced component gets its next date here." in page(client)


def test_a_longer_list_asks_the_database_no_more_often(book: Book, client: Client) -> None:
    numbers = iter(range(200, 300))

    def another() -> None:
        vehicle = book.car(f"KET-{next(numbers)}", 91_000)
        book.due(vehicle, -1, at=90_000)
        book.due(vehicle, 200, at=90_500, revision=book.brakes)
        written_up(vehicle, book.fluid, book.owner, book.now, 92_000)

    another()
    assert_budget(client, reverse("jobs:due"), 14, another)


@pytest.mark.skipif(connection.vendor != "sqlite", reason="the plan is worded by SQLite")
def test_no_reading_is_looked_for_without_an_index(book: Book, client: Client) -> None:
    vehicle = book.car("KET-118", 91_000)
    book.due(vehicle, 200, at=90_000)
    with CaptureQueriesContext(connection) as captured:
        page(client)
    tables = re.compile("garage_odometerreading|jobs_job\\b|garage_customer|garage_phone")
    asked = [query["sql"] for query in captured.captured_queries if tables.search(query["sql"])]
    assert len(asked) >= 4
    for sql in asked:
        with connection.cursor() as cursor:
            cursor.execute(f"EXPLAIN QUERY PLAN {sql}")
            plan = [str(row[3]) for row in cursor.fetchall()]
        assert not [step for step in plan if step.startswith("SCAN") and tables.search(step)], (sql, plan)
