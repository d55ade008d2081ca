"""The demo garage: loaded once by the program's own verbs, its books hold, and nothing in it is real."""

import datetime as dt
import re
from collections.abc import Iterator
from itertools import pairwise

import pytest
from django.core.management import call_command
from django.db import transaction
from django.db.models import Count
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
from garage.vin import read_vin
from invoicing.demo import today
from invoicing.demo.cast import LOGINS, MODELS
from invoicing.demo.garage import MONTHS, ZONE, Garage
from invoicing.demo.load import is_loaded, load
from invoicing.models import AuthorizationOperation, Estimate, EstimateLine, Invoice, Receivable
from jobs.fluids import FLUIDS
from jobs.matching import best_match
from jobs.models import Advisory, DueService, FluidSample, Job, JobStep, Operation, StepEvent
from jobs.queries_due import due_rows
from parts.models import Container, Item, Movement, Supersession, Supplier
from parts.queries import items_low
from tests.invoicing.random_book import rows_of
from tests.invoicing.raw_rows import Book
from tests.invoicing.recomputed import recomputed

TODAY = dt.datetime(2026, 3, 4, 16, 0, tzinfo=dt.UTC)  # a Wednesday, eleven in the morning at the demo's shop
PHONE = re.compile(r"555-01\d\d")  # North America keeps 555-0100 to 555-0199 free for fiction (ATIS-0300115)

pytestmark = pytest.mark.timeout(1500)  # the load is some 190 visits; a busy runner is slow


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
            promised = today.by_five(garage)
            assert (promised.date(), promised.time()) == (garage.now.date(), dt.time(17))
            later = today.next_day(garage, dt.time(12))
            assert later.weekday() < 5 and later.date() > garage.now.date() and later.hour == 12


# Its history, as a careful garage would have it


def test_each_procedure_that_was_done_is_for_the_car_it_was_done_on(loaded: list[str]) -> None:
    done = Operation.objects.filter(revision__isnull=False).select_related("revision__procedure", "job__vehicle")
    assert done.count() > 250
    unfit = [
        (str(row), str(row.job.vehicle))
        for row in done.prefetch_related("revision__procedure__applies_to")
        if row.revision is not None
        and best_match(row.revision.procedure.applies_to.all(), row.job.vehicle or Vehicle()) is None
    ]
    assert unfit == []


def test_a_car_is_promised_for_a_time_that_people_say(loaded: list[str]) -> None:
    promised = [moment for moment in Job.objects.values_list("promised_at", flat=True) if moment is not None]
    assert len(promised) > 120
    odd = [moment for moment in promised if (moment.minute % 15, moment.second, moment.microsecond) != (0, 0, 0)]
    assert odd == []
    assert all(8 <= moment.astimezone(ZONE).hour <= 17 for moment in promised)


def test_a_sample_is_described_in_the_words_of_its_fluid(loaded: list[str]) -> None:
    samples = FluidSample.objects.select_related("component")
    kinds = {"Cooling system": "coolant", "Brakes": "brake fluid"}
    for sample in samples:
        assert sample.fluid_kind == kinds.get(sample.component.name, sample.fluid_kind)
        words = FLUIDS[sample.fluid_kind].words
        assert all(getattr(sample, thing) in words[thing] for thing in words), str(sample)
    assert not samples.filter(component__name__in=kinds, particles="paste").exists()
    assert not samples.filter(component__name="Cooling system", freeze_point=None).exists()
    assert not samples.filter(component__name="Brakes", water=None).exists()


def test_the_distance_on_a_fluid_is_what_the_odometer_says(loaded: list[str]) -> None:
    """Since the last service of that component here; before the first one what its owner knows, never a round figure
    and never more than the car has run."""
    said: list[int] = []
    for sample in FluidSample.objects.select_related("operation"):
        on_it, at, operation = sample.distance_on_fluid, sample.odometer, sample.operation
        assert operation is not None and on_it is not None and at is not None and on_it <= at, str(sample.vehicle)
        here = Operation.objects.filter(
            job__vehicle=sample.vehicle, component=sample.component, finished_at__lt=operation.started_at
        ).select_related("job__odometer_out")
        last = here.order_by("-finished_at").first()
        if last is None:
            said.append(on_it)
        else:
            assert last.job.odometer_out and on_it == at - last.job.odometer_out.reading, str(sample.vehicle)
    assert len(set(said)) > 0.8 * len(said) > 40
    assert [miles for miles in said if miles % 500 == 0] == []


def test_no_service_came_twice_in_a_month_or_long_after_it_was_due(loaded: list[str]) -> None:
    """A service comes again early only where the car came back for that very thing."""
    before: dict[tuple[int, int], Operation] = {}
    done = Operation.objects.filter(finished_at__isnull=False, revision__isnull=False)
    related = ("revision", "job__vehicle", "job__odometer_in", "component")
    for row in done.select_related(*related).prefetch_related("advisories").order_by("finished_at"):
        assert row.job.vehicle_id and row.component_id and row.revision and row.finished_at and row.job.odometer_in
        earlier = before.get((row.job.vehicle_id, row.component_id))
        before[row.job.vehicle_id, row.component_id] = row
        if earlier is None or earlier.finished_at is None or earlier.job.odometer_in is None:
            continue
        days = (row.finished_at - earlier.finished_at).days
        miles = row.job.odometer_in.reading - earlier.job.odometer_in.reading
        share = max(
            miles / (row.revision.every_distance or 10**6), days / (30.44 * (row.revision.every_months or 10**3))
        )
        assert days > 30 and (days > 180 or share > 0.5 or row.advisories.exists()), (str(row), str(row.job.vehicle))
        assert share < 1.4, (str(row), str(row.job.vehicle), share)


def test_nothing_is_overdue_by_half_its_interval(loaded: list[str]) -> None:
    late = [row for row in due_rows(DueService.objects.all(), TODAY.date()) if row.overdue]
    assert 2 <= len(late) <= 12  # a call list has somebody on it
    for row in late:
        assert row.left is None or -row.left < (row.due.every_distance or 0) / 2, str(row.due.vehicle)
        assert row.days is None or -row.days < (row.due.every_months or 0) * 30 / 2, str(row.due.vehicle)


def test_what_must_not_wait_did_not_wait(loaded: list[str]) -> None:
    play = Advisory.objects.filter(text__contains="tie rod").select_related("operation__job", "job")
    assert play
    for row in play:
        assert row.state == "settled" and row.operation is not None
        assert row.operation.job.received_at - row.job.received_at < dt.timedelta(days=21)


def test_the_words_are_those_of_a_us_shop(loaded: list[str]) -> None:
    british = re.compile(r"(?i)\b(discs?|bush|estate|wheel bolts?|motor factors|tyres?|bonnet|windscreen)\b")
    words = [
        *Job.objects.values_list("concern", flat=True),
        *(f"{row.title} {row.concern} {row.cause} {row.correction}" for row in Operation.objects.all()),
        *Advisory.objects.values_list("text", flat=True),
        *Vehicle.objects.values_list("model", flat=True),
        *Supplier.objects.values_list("name", flat=True),
        *Item.objects.values_list("name", flat=True),
        str(ShopProfile.objects.get().invoice_text),
    ]
    assert [text for text in words if british.search(text)] == []
