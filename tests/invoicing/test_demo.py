"""The demo garage: loaded once by the program's own verbs, its books hold, and nothing in it is real."""

import datetime as dt
import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import transaction
from django.db.models import Count
from django.test import Client
from django.urls import reverse
from pytest_django.plugin import DjangoDbBlocker
from vininfo.dicts import WMI

from garage import promises
from garage.clock import fixed
from garage.models import (
    AuthorizedPerson,
    Customer,
    Document,
    EmailAddress,
    OutgoingMail,
    Phone,
    ShopProfile,
    User,
    Vehicle,
)
from garage.units import convert
from garage.vin import read_vin
from invoicing.demo import cast, names, today
from invoicing.demo.cast import LOGINS, MODELS
from invoicing.demo.garage import MONTHS, ZONE, Garage
from invoicing.demo.load import PROCEDURES, is_loaded, load
from invoicing.models import AuthorizationOperation, Estimate, EstimateLine, Invoice, Receivable
from jobs.models import Advisory, DueService, FluidSample, Job, JobStep, Procedure, StepEvent
from jobs.procedure_files import parse
from jobs.procedure_schema import Step, Written
from parts.models import Container, Item, Movement, Supersession, Supplier
from parts.queries import items_low
from tests.invoicing.random_book import rows_of
from tests.invoicing.raw_rows import Book
from tests.invoicing.recomputed import recomputed
from tests.visible import bare_limits

TODAY = dt.datetime(2026, 3, 4, 16, 0, tzinfo=dt.UTC)  # a Wednesday, eleven in the morning at the demo's shop
PHONE = re.compile(r"555-01\d\d")  # North America keeps 555-0100 to 555-0199 free for fiction (ATIS-0300115)
FILES = sorted(PROCEDURES.glob("*.yaml"))

pytestmark = pytest.mark.timeout(600)  # the load is some 150 visits; a busy runner is slow


@pytest.fixture(scope="module")
def demo(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[list[str]]:
    """The demo, loaded for the whole module and rolled back after it; gives the lines it said."""
    said: list[str] = []
    with django_db_blocker.unblock(), transaction.atomic():
        assert load(clock=fixed(TODAY), say=said.append)
        yield said
        transaction.set_rollback(True)


@pytest.fixture
def loaded(demo: list[str], db: None) -> list[str]:
    return demo


def procedure(path: Path) -> Written:
    return parse(path.read_text(encoding="utf-8"))


# What it holds


def test_every_figure_is_what_the_raw_rows_come_to(loaded: list[str]) -> None:
    """Worked out anew from plain SQL by recomputed.py, which imports nothing of the program."""
    book = Book(rows_of)
    assert list(recomputed(book, as_it_went=True)) == []
    counted = book.checked
    assert counted["net of a line"] > 1000 and counted["value of a movement"] > 1000
    assert counted["drawn for a line"] > 400 and counted["tax"] > 100 and counted["balance of a customer"] >= 40


def test_the_garage_is_as_large_as_a_small_garage(loaded: list[str]) -> None:
    assert Customer.objects.filter(walk_in=False).count() == 40
    assert 50 <= Vehicle.objects.count() <= 60
    assert 120 <= Job.objects.count() <= 200
    assert 120 <= Invoice.objects.count() <= 200
    assert User.objects.count() == len(LOGINS) == 4
    assert StepEvent.objects.count() > 2000
    first = Job.objects.order_by("received_at").first()
    assert first is not None
    assert TODAY - first.received_at > dt.timedelta(days=(MONTHS - 1) * 30)


def test_every_promise_of_the_books_holds(loaded: list[str]) -> None:
    assert {name: breaches for name, breaches in promises.run() if breaches} == {}


def test_nothing_happened_after_today(loaded: list[str]) -> None:
    assert not Invoice.objects.filter(issued_at__gt=TODAY).exists()
    assert not StepEvent.objects.filter(at__gt=TODAY).exists()
    assert not Movement.objects.filter(at__gt=TODAY).exists()


def test_invoices_follow_each_other_in_time_as_in_number(loaded: list[str]) -> None:
    moments = list(Invoice.objects.order_by("pk").values_list("issued_at", flat=True))
    assert moments == sorted(moments)


def test_odometers_only_go_on_unless_one_was_replaced(loaded: list[str]) -> None:
    for vehicle in Vehicle.objects.prefetch_related("readings"):
        rows = sorted(vehicle.readings.all(), key=lambda row: (row.on, row.pk))
        for before, after in pairwise(rows):
            assert after.reading >= before.reading or after.lower_reason == "replaced", vehicle


def test_services_are_due_next(loaded: list[str]) -> None:
    assert DueService.objects.filter(on__gte=TODAY.date()).count() > 40


# Nothing in it is real


def test_makes_are_nobodys() -> None:
    """Held against the brand list of vininfo, a library of makers' codes."""
    real = {word.casefold() for maker in WMI.values() for word in re.split(r"[^\w]+", str(maker)) if len(word) > 2}
    invented = {model.make.casefold() for model in MODELS.values()}
    assert not invented & real


def test_vins_are_nobodys_and_add_up(loaded: list[str]) -> None:
    vins = [vehicle.vin for vehicle in Vehicle.objects.exclude(vin="").filter(vin_not_standard=False)]
    assert len(vins) > 45
    for vin in vins:
        assert vin[:3] not in WMI and vin[:2] not in WMI, vin
        reading = read_vin(vin)
        assert reading.ok and not reading.problems, reading.problems


def test_model_years_agree_with_the_vins(loaded: list[str]) -> None:
    for vehicle in Vehicle.objects.exclude(vin="").filter(vin_not_standard=False):
        assert read_vin(vehicle.vin).model_years == (vehicle.year,), vehicle


def test_telephone_numbers_are_kept_for_fiction_and_mail_goes_nowhere(loaded: list[str]) -> None:
    numbers = [*Phone.objects.values_list("number", flat=True), *Supplier.objects.values_list("phone", flat=True)]
    numbers += [*AuthorizedPerson.objects.values_list("contact", flat=True), str(ShopProfile.objects.get().phone)]
    assert len(numbers) > 40
    assert [number for number in numbers if not PHONE.fullmatch(number)] == []
    owned = list(Phone.objects.values_list("digits", flat=True))
    assert len(owned) == len(set(owned))
    addresses = [*EmailAddress.objects.values_list("address", flat=True), str(ShopProfile.objects.get().email)]
    addresses += [*Supplier.objects.values_list("email", flat=True), *OutgoingMail.objects.values_list("to", flat=True)]
    assert len(addresses) > 20
    assert [address for address in addresses if not address.endswith("@example.com")] == []


# Its scenes


def test_a_transfer_case_gets_worse_and_comes_back(loaded: list[str]) -> None:
    samples = FluidSample.objects.filter(vehicle__plate="KET-118", component__name="Transfer case").order_by("pk")
    assert [sample.verdict for sample in samples] == ["worn", "spent", "worn", "serviceable", "serviceable"]
    assert all(sample.distance_on_fluid for sample in samples[:3])


def test_today_every_stage_has_a_job(loaded: list[str]) -> None:
    today = dict(Job.objects.exclude(stage__in=["closed", "invoiced"]).values_list("stage").annotate(Count("pk")))
    assert today == {"written_up": 1, "awaiting": 1, "ready": 1, "in_bay": 1, "finished": 1, "canceled": 1}
    assert Job.objects.get(stage="awaiting").waits_for == "Odile Marrant"
    need = EstimateLine.objects.get(if_needed=True)
    assert need.estimate_operation.estimate.job.stage == "awaiting"
    promised = Job.objects.filter(stage__in=["ready", "in_bay"]).values_list("promised_at", flat=True)
    assert {moment.date() for moment in promised if moment} == {TODAY.date()}


def test_the_job_in_the_bay_is_half_done_with_its_fluid_drawn(loaded: list[str]) -> None:
    done, half = Job.objects.get(stage="in_bay").operations.order_by("position")
    states = {step.state for step in done.steps.all()}
    assert states == {"done"}
    assert done.lines.filter(kind="fluid", draws__isnull=False).exists()
    assert {step.state for step in half.steps.all()} == {"done", "open"}
    assert half.steps.filter(readings__isnull=False).exists()


def test_an_estimate_was_revised_and_its_addition_authorized(loaded: list[str]) -> None:
    revised = Estimate.objects.get(revision=2, job__vehicle__plate="VAL-690")
    limits = list(revised.job.authorizations.order_by("pk").values_list("limit", flat=True))
    assert len(limits) == 2 and limits[0] < limits[1] == revised.net


def test_what_nobody_authorized_was_taken_off_a_bill(loaded: list[str]) -> None:
    given_up = Invoice.objects.get(operations__lines__description__startswith="Not charged, as it was not authorized")
    assert given_up.job is not None and given_up.net == given_up.job.authorizations.get().limit
    assert given_up.receivable.balance == 0


def test_money_is_overdue_partly_paid_and_was_taken_back(loaded: list[str]) -> None:
    owed = Receivable.objects.filter(balance__gt=0).select_related("invoice")
    assert owed.filter(due_on__lt=TODAY.date()).count() >= 2
    assert [row for row in owed if row.balance < row.invoice.gross and row.due_on >= TODAY.date()]
    assert Invoice.objects.filter(kind="credit_note", consent="authorization").count() == 1
    assert Invoice.objects.filter(payments__payment__reverses__isnull=False).count() == 1


def test_parts_are_sold_over_the_counter_paid_brought_back_and_on_account(loaded: list[str]) -> None:
    sales = Invoice.objects.filter(consent="sale", kind="invoice")
    assert sales.filter(customer__walk_in=True, receivable__balance=0).count() >= 6
    assert sales.filter(customer__walk_in=False, receivable__balance__gt=0).count() == 1
    assert Invoice.objects.filter(consent="sale", kind="credit_note").count() == 1


def test_declined_work_stays_noted(loaded: list[str]) -> None:
    declined = AuthorizationOperation.objects.select_related("authorization__job").get(decision="declined")
    assert declined.reason
    assert Advisory.objects.filter(
        vehicle=declined.authorization.job.vehicle, state="open", text__startswith="Rear brake"
    ).exists()


def test_a_car_changed_hands_and_an_odometer_was_replaced(loaded: list[str]) -> None:
    sold = Vehicle.objects.get(plate="CAS-655")
    assert str(sold.owner) == "Simon Adeyemi"
    assert sold.ownerships.count() == 2
    assert Vehicle.objects.filter(readings__lower_reason="replaced").count() == 1


def test_a_mail_waits(loaded: list[str]) -> None:
    mail = OutgoingMail.objects.get()
    assert (mail.state, mail.purpose) == ("queued", "invoice")
    assert mail.attachments.count() == 1


def test_the_first_start_prints_only_the_last_week(loaded: list[str]) -> None:
    waiting = Document.objects.filter(state=Document.State.WANTED)
    assert 0 < waiting.count() < 20 < Document.objects.count()


def test_an_exempt_customer_pays_no_tax(loaded: list[str]) -> None:
    invoices = Invoice.objects.filter(customer__tax_exempt=True)
    assert invoices.count() > 3
    assert {invoice.tax for invoice in invoices} == {0}
    assert all(invoice.order_number for invoice in invoices)


def test_the_shelf_shows_a_renamed_fluid_an_open_bottle_and_what_is_low(loaded: list[str]) -> None:
    renamed = Supersession.objects.get()
    assert [str(row) for row in (renamed.old, renamed.new)] == [
        "Oskerly TF-30 transfer fluid",
        "Oskerly TF-31 transfer fluid",
    ]
    bottle = Container.objects.filter(item__in=[renamed.old, renamed.new], content__gt=0, opened_at__isnull=False)
    assert bottle.exists()
    assert items_low().filter(numbers__number="BC-5").exists()
    assert not Item.objects.filter(on_hand__lt=0).exists()


def test_torque_past_its_limit_left_a_note_and_a_check(loaded: list[str]) -> None:
    check = JobStep.objects.get(follows__isnull=False)
    assert check.state == "done"
    assert check.follows is not None and "past the limit" in check.follows.note


# Loading it


def test_loading_again_changes_nothing(loaded: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    before = Movement.objects.count()
    assert is_loaded() and load(clock=fixed(TODAY)) is False
    call_command("demo")
    assert "already" in capsys.readouterr().out
    assert Movement.objects.count() == before


def test_the_logins_work(loaded: list[str]) -> None:
    for login in LOGINS:
        user = User.objects.get(username=login.username)
        assert user.check_password(login.password) and user.role == login.role


def test_it_tells_how_far_it_has_come(loaded: list[str]) -> None:
    assert loaded[1:] == ["Year 1 of 3.", "Year 2 of 3.", "Year 3 of 3."]


def test_what_goes_on_today_began_in_working_hours() -> None:
    for day in (4, 7, 8):  # a Wednesday, a Saturday, a Sunday
        for hour in range(24):
            garage = Garage(dt.datetime(2026, 3, day, hour, 20, tzinfo=ZONE))
            began = garage.latest.astimezone(ZONE)
            assert began <= garage.now and began.weekday() < 5 and 11 <= began.hour <= 18
            assert garage.now - began < dt.timedelta(days=3)
            promised = garage.latest + today.by_five(garage, dt.timedelta(0))
            assert promised.astimezone(ZONE).date() == garage.now.date()


# Its procedures, written as a careful technician would


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_procedure_says_what_it_must(path: Path) -> None:
    written = procedure(path)
    assert written.source == "Invented for the demo; on a real vehicle the manufacturer's data comes first"
    assert written.tools and written.cautions and written.summary
    assert any(step.caution for step in written.steps)
    assert any(step.hold_point for step in written.steps)
    assert {make for row in written.applies_to if (make := row.make)} <= {model.make for model in MODELS.values()}
    for step in written.steps:
        if step.kind == "tighten":
            assert step.threads and step.reading is not None
            assert step.reading.low and step.reading.target and step.reading.high
            assert step.reading.low < step.reading.target < step.reading.high


def test_no_limit_stands_beside_another_unit_on_any_page_of_the_bay(loaded: list[str], client: Client) -> None:
    assert bare_limits("<b>39 N·m</b><small>28.8 ft·lb · from 35 to 43</small>"), "the rule finds what it is for"
    assert not bare_limits("<b>39 N·m</b><small>28.8 ft·lb</small><small>OK: 35–43 N·m (25.8–31.7 ft·lb)</small>")
    client.force_login(User.objects.get(username="technician"))
    pages = [reverse("jobs:procedure", args=[pk]) for pk in Procedure.objects.values_list("pk", flat=True)]
    for job in Job.objects.filter(stage="in_bay"):
        url = reverse("jobs:bay-job", args=[job.pk])
        steps = JobStep.objects.filter(operation__job=job).values_list("pk", flat=True)
        pages += [url, *(f"{url}?step={pk}" for pk in steps), reverse("jobs:sheet", args=[job.pk])]
    assert len(pages) > 30
    shown = {url: client.get(url).content.decode() for url in pages}
    assert {url: found for url, page in shown.items() if (found := bare_limits(page))} == {}
    assert sum("OK: " in page for page in shown.values()) > 10


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_nothing_is_filled_before_the_vehicle_is_level(path: Path) -> None:
    steps = procedure(path).steps
    for at, step in enumerate(steps):
        if step.kind == "fill":
            assert any(earlier.hold_point and "level" in earlier.title for earlier in steps[:at]), step.title


@pytest.mark.parametrize(
    "path", [path for path in FILES if any(word in path.stem for word in ("transfer", "differential", "axle"))],
    ids=lambda path: path.stem,
)  # fmt: skip
def test_no_driveline_unit_is_drained_before_its_fill_plug_opens(path: Path) -> None:
    steps = procedure(path).steps
    drain, opens = first(steps, "drain"), next(i for i, step in enumerate(steps) if "Fill plug opens" in step.title)
    assert steps[opens].hold_point and steps[opens].caution
    assert opens < drain
    assert drain < first(steps, "sample") < first(steps, "fill")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_no_filling_may_exceed_what_the_component_holds(path: Path) -> None:
    written = procedure(path)
    for step in written.steps:
        if step.kind == "fill" and written.capacity is not None:
            assert step.reading is not None and step.reading.high is not None
            assert convert(step.reading.high, step.reading.unit, "L") <= written.capacity.value, step.title


def test_a_car_that_was_driven_is_supported_again_before_it_is_drained_again() -> None:
    steps = procedure(next(path for path in FILES if path.stem == "transfer-case-repeated")).steps
    second = [at for at, step in enumerate(steps) if step.kind == "drain"][1]
    assert "support" in steps[second - 1].title and "stands" in steps[second - 1].caution


def first(steps: tuple[Step, ...], kind: str) -> int:
    return next(at for at, step in enumerate(steps) if step.kind == kind)


def test_cautions_stand_where_they_bite() -> None:
    by_stem = {path.stem: procedure(path) for path in FILES}
    for stem, words in {
        "coolant": ["pressure", "hot", "Used Antifreeze"],
        "brake-fluid": ["paint", "pedal", "Let the pressure out", "its own marked bottle"],
        "brake-pads-front": ["Wet", "pedal", "never on its hose"],
        "transfer-case": ["stands", "Threads in aluminum", "Used Oil"],
        "engine-oil-gasoline": ["hot oil", "Used Oil"],
        "automatic-transmission": ["Nobody underneath while", "Used Oil", "aluminum"],
        "brake-pads-rear": ["Wet", "pedal", "never on its hose", "chocked"],
    }.items():
        said = " ".join([*by_stem[stem].cautions, *(f"{step.title} {step.caution}" for step in by_stem[stem].steps)])
        assert [word for word in words if word not in said] == [], stem


def test_all_the_procedures_the_story_needs_are_there() -> None:
    titles = {procedure(path).title for path in FILES}
    assert len(titles) == len(FILES) >= 8
    assert {value for name, value in vars(names).items() if name.isupper() and isinstance(value, str)} <= titles
    assert len(cast.COMPANIES + cast.PEOPLE) == 40
