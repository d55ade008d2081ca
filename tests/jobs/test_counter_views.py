"""The counter's pages: the list of open jobs, the sheet, and its forms, with htmx and without."""

import datetime as dt
import re
import uuid
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from garage import panels, search
from garage.clock import fixed
from garage.models import AuditEntry
from jobs.models import Job, JobPhoto, Operation, Stage
from parts.actions.items import supersede
from tests.budget import assert_budget
from tests.decided import decide
from tests.jobs.bay_cast import car, stock_item
from tests.jobs.counter_cast import (
    FLUID,
    HTMX,
    LABOR,
    Counter,
    at_counter,
    opened,
    page_of,
    picture,
    transfer_fluid_change,
)


@pytest.fixture
def counter(shop, people) -> Counter:
    return at_counter(people, timezone.now())


@pytest.fixture
def client(counter, login):
    return login("counter")


class TestFront:
    def test_each_open_job_stands_there_with_what_it_waits_for_and_its_next_act(self, client, counter):
        counter.job.key_tag = "7"
        counter.job.save()
        page = page_of(client, "counter")
        for shown in ("2016 Brannock Fell 2.4", "KET-118", "key 7", "waits for an estimate since", "Write estimate"):
            assert shown in page

    def test_a_promise_that_was_not_kept_is_said_in_words(self, client, counter):
        Job.objects.update(promised_at=counter.now - dt.timedelta(hours=1))
        assert "1 h 00 late" in page_of(client, "counter")
        Job.objects.update(stage=Stage.FINISHED)
        assert " late" not in page_of(client, "counter")

    def test_it_is_narrowed_to_what_jobs_wait_for(self, client, counter):
        assert "KET-118" in page_of(client, "counter", data={"stage": "written_up"})
        page = page_of(client, "counter", data={"stage": "in_bay"})
        assert "KET-118" not in page
        assert "No job waits for that" in page

    @pytest.mark.parametrize("typed", ["Marrant", "555-0101", "5550101", "0101", "ket 118", "1"])
    def test_anything_typed_finds(self, client, counter, typed):
        for headers in ({}, HTMX):
            assert "Odile Marrant" in page_of(client, "counter", data={"q": typed}, headers=headers)

    def test_a_customer_found_can_be_taken_in_at_once(self, client, counter):
        page = page_of(client, "counter", data={"q": "marrant"})
        assert f'href="{reverse("jobs:intake")}?customer={counter.job.customer_id}"' in page

    def test_nothing_found_leads_to_the_intake_with_what_was_typed(self, client):
        assert f'href="{reverse("jobs:intake")}?find=Piet%20Haal"' in page_of(
            client, "counter", data={"q": "Piet Haal"}
        )

    def test_htmx_gets_the_rows_alone(self, client):
        page = page_of(client, "counter", headers=HTMX)
        assert "<html" not in page
        assert "KET-118" in page

    def test_an_empty_book_says_what_will_stand_here(self, client):
        Job.objects.update(stage=Stage.CLOSED)
        assert "No car is here" in page_of(client, "counter")

    def test_thirty_jobs_a_page_and_no_more_questions_for_more_of_them(self, client, counter):
        plates = iter(range(100))

        def another() -> None:
            opened(car(counter.actor, counter.now, f"P-{next(plates)}"), counter.actor, counter.now)

        assert_budget(client, reverse("counter"), 6, another)
        for _ in range(26):
            another()
        page = page_of(client, "counter")
        assert page.count("Write estimate<") == 30
        older = page.split('rel="next"')[0].rsplit('href="', 1)[1].split('"')[0]
        assert page_of(client, "counter", data=dict([older.strip("?").split("=")])).count("Write estimate<") == 2

    def test_who_may(self, counter, login):
        for role, status in (("owner", 200), ("technician", 403), ("reader", 403)):
            assert login(role).get(reverse("counter")).status_code == status


class TestSheet:
    def test_lines_in_both_units_with_their_amounts(self, client, counter):
        operation = counter.operation("Transfer case fluid")
        counter.line(operation, LABOR)
        counter.line(operation, FLUID)
        page = page_of(client, "jobs:sheet", counter.job.pk)
        for shown in (
            "1.4 hr",
            "128.00 / hr",
            "179.20",
            "1.700 L",
            "1.796 qt",
            "61.20 / L",
            "57.92 / qt",
            "104.04",
            "283.24",
        ):
            assert shown in page  # the figures of the design's sample sheet

    def test_what_was_typed_in_quarts_stands_in_quarts_first(self, client, counter):
        counter.line(counter.operation(), FLUID, quantity=Decimal("0.75"), unit="qt", typed="3/4 qt")
        assert "0.750 qt<small>0.710 L</small>" in page_of(client, "jobs:sheet", counter.job.pk)

    def test_what_blocks_the_job_is_said_first(self, client, counter):
        empty = page_of(client, "jobs:sheet", counter.job.pk)
        assert re.findall("nothing (?:is )?written up", empty, re.IGNORECASE) == ["Nothing is written up"]
        revision, fluid, _ = transfer_fluid_change(counter.actor, counter.now, bottles=1)
        counter.operation("Transfer case fluid", revision=revision)
        counter.line(counter.operation("Again"), FLUID, item=fluid, unit_price=Decimal(0))
        page = page_of(client, "jobs:sheet", counter.job.pk)
        assert "Transfer case fluid: 2.550 L · 2.695 qt needed, 1.000 L · 1.057 qt on the shelf." in page
        assert "No price" in page

    def test_stock_under_an_old_number_counts(self, client, counter):
        old = stock_item("TF-30", "TF-30", "L", 2, "1", counter.actor, counter.now)
        new = stock_item("TF-31", "TF-31", "L", 1, "1", counter.actor, counter.now)
        supersede(old=old, new=new, on=counter.now.date(), note="", actor=counter.actor, clock=fixed(counter.now))
        counter.line(counter.operation(), FLUID, item=old, quantity=Decimal(3))
        page = page_of(client, "jobs:sheet", counter.job.pk)
        assert "today TF-31" in page
        assert "Short" not in page

    def test_the_margin_knows_the_last_visit_what_is_noticed_and_the_customers_wishes(self, client, counter):
        counter.operation("Front differential fluid")
        counter.advisory("Rear pads 3 mm")
        Job.objects.update(stage=Stage.CLOSED)
        counter.job.customer.notes = "Prefers a call"
        counter.job.customer.save()
        second = opened(counter.vehicle, counter.actor, counter.now)
        page = page_of(client, "jobs:sheet", second.pk)
        for shown in ("Last time here", "Front differential fluid", "Rear pads 3 mm", "Prefers a call", "555-0101"):
            assert shown in page

    def test_higher_apps_add_to_foot_and_margin(self, client, counter, monkeypatch):
        shown = {"job-foot": "the sums", "job-margin": "the estimate"}
        monkeypatch.setattr(panels, "render", lambda place, request, subject: [shown[place]])
        page = page_of(client, "jobs:sheet", counter.job.pk)
        assert "the sums" in page
        assert "the estimate" in page
        assert "the sums" in page_of(client, "jobs:foot", counter.job.pk, headers=HTMX)

    def test_its_questions_to_the_database_do_not_grow_with_operations_and_lines(self, client, counter, monkeypatch):
        monkeypatch.setattr(
            panels, "render", lambda place, request, subject: []
        )  # higher apps have budgets of their own
        revision, _, _ = transfer_fluid_change(counter.actor, counter.now)
        counter.operation(revision=revision)

        def another() -> None:
            counter.operation("Once more", revision=revision)

        assert_budget(client, reverse("jobs:sheet", args=[counter.job.pk]), 42, another)

    def test_who_may(self, counter, login):
        for role, status in (("owner", 200), ("technician", 403), ("reader", 403)):
            assert login(role).get(reverse("jobs:sheet", args=[counter.job.pk])).status_code == status

    def test_another_number_is_not_found(self, client):
        assert client.get(reverse("jobs:sheet", args=[999])).status_code == 404


class TestVisit:
    def edit(self, client, job, **changes):
        form = client.get(reverse("jobs:job-edit", args=[job.pk])).context["form"]
        data = {name: form[name].value() or "" for name in form.fields}
        return client.post(reverse("jobs:job-edit", args=[job.pk]), {**data, **changes})

    def test_facts_are_changed(self, client, counter):
        answer = self.edit(client, counter.job, key_tag="9", promised_at="2026-03-05T17:00", parts_wish="return")
        job = Job.objects.get()
        assert answer.status_code == 303
        assert (job.key_tag, job.parts_wish) == ("9", "return")
        assert job.promised_at == dt.datetime(2026, 3, 5, 22, 0, tzinfo=dt.UTC)  # New York, winter

    def test_the_second_counter_is_told_keeps_what_was_typed_and_may_insist(self, client, counter):
        url = reverse("jobs:job-edit", args=[counter.job.pk])
        form = client.get(url).context["form"]
        stale = {name: form[name].value() or "" for name in form.fields} | {"key_tag": "8"}
        self.edit(client, counter.job, key_tag="9")
        answer = client.post(url, stale)
        page = answer.content.decode()
        assert answer.status_code == 422
        assert "Somebody else changed “Job 1”" in page
        assert Job.objects.get().key_tag == "9"
        version = page.split('name="version" value="')[1].split('"')[0]
        assert client.post(url, {**stale, "version": version}).status_code == 303
        assert Job.objects.get().key_tag == "8"

    def test_canceled_with_a_reason_and_taken_up_again(self, client, counter):
        url = reverse("jobs:job-cancel", args=[counter.job.pk])
        assert client.post(url, {"reason": ""}).status_code == 422
        assert client.post(url, {"reason": "sold the car"}).status_code == 303
        assert "canceled" in page_of(client, "jobs:sheet", counter.job.pk)
        client.post(reverse("jobs:job-again", args=[counter.job.pk]))
        assert Job.objects.get().stage == Stage.WRITTEN_UP

    def test_a_visit_that_goes_on_is_not_taken_up_again(self, client, counter):
        """The page was open while somebody else went on with the job."""
        Job.objects.update(stage="ready")
        client.post(reverse("jobs:job-again", args=[counter.job.pk]))
        assert Job.objects.get().stage == "ready"

    def test_put_into_the_bay_with_a_technician(self, client, counter, people):
        url = reverse("jobs:job-start", args=[counter.job.pk])
        refused = client.post(url, {"technician": people["technician"].pk}, follow=True)
        assert "Nothing on Job 1 is authorized yet" in refused.content.decode()
        decide(operation=counter.operation(), decision="authorized", actor=counter.actor, now=counter.now)
        assert "Start work" in page_of(client, "jobs:sheet", counter.job.pk)
        client.post(url, {"technician": people["technician"].pk})
        assert Job.objects.get().stage_sentence.startswith("in the bay with Technician Test")

    def test_photos(self, client, counter):
        url = reverse("jobs:photo-add", args=[counter.job.pk])
        assert client.post(url, {"caption": "left"}).status_code == 422
        assert client.post(url, {"photos": [picture("x.gif")]}).status_code == 422
        key = str(uuid.uuid4())
        for _ in range(2):
            data = {"photos": [picture("a.png"), picture("b.png")], "caption": "left", "key": key}
            assert client.post(url, data).status_code == 303
        assert list(JobPhoto.objects.values_list("caption", flat=True)) == ["left", "left"]

    @pytest.mark.parametrize("name", ["jobs:job-again", "jobs:job-start", "jobs:offer-take"])
    def test_acts_are_posted(self, client, counter, name):
        assert client.get(reverse(name, args=[counter.job.pk])).status_code == 405

    def test_an_advisory_is_added_in_one_act_once(self, client, counter):
        advisory = counter.advisory("Rear pads 3 mm")
        url = reverse("jobs:offer-take", args=[counter.job.pk])
        client.post(url, {"taken": f"advisory {advisory.pk}"})
        answer = client.post(url, {"taken": f"advisory {advisory.pk}"}, follow=True)
        assert "no longer open" in answer.content.decode()
        assert Operation.objects.get().title == "Rear pads 3 mm"


class TestOperations:
    def test_the_best_procedure_for_the_car_stands_first_and_is_added_with_one_press(self, client, counter):
        revision, _, _ = transfer_fluid_change(counter.actor, counter.now)
        page = page_of(client, "jobs:operation-add", counter.job.pk)
        assert "for this vehicle" in page
        key = str(uuid.uuid4())
        url = reverse("jobs:procedure-take", args=[counter.job.pk, revision.procedure_id])
        for _ in range(2):
            answer = client.post(url, {"key": key})
        operation = Operation.objects.get()
        assert answer["Location"].endswith(f"#op-{operation.pk}")
        assert operation.lines.count() == 3

    def test_found_by_words(self, client, counter):
        transfer_fluid_change(counter.actor, counter.now)
        url = reverse("jobs:operation-add", args=[counter.job.pk])
        assert "Transfer case fluid, change" in client.get(url, {"q": "transfer"}, headers=HTMX).content.decode()
        assert "No procedure is found" in client.get(url, {"q": "clutch"}, headers=HTMX).content.decode()

    def test_written_free_and_refused_without_a_title(self, client, counter):
        url = reverse("jobs:operation-add", args=[counter.job.pk])
        answer = client.post(url, {"title": " ", "concern": "Whines"})
        assert answer.status_code == 422
        assert "Whines" in answer.content.decode()
        assert client.post(url, {"title": "Find the noise", "concern": "Whines"}).status_code == 303
        assert Operation.objects.get().concern == "Whines"

    def test_words_in_place_with_htmx_and_on_a_page_without(self, client, counter):
        operation = counter.operation()
        url = reverse("jobs:operation-edit", args=[operation.pk])
        form = client.get(url, headers=HTMX)
        assert form["HX-Retarget"] == f"#op-{operation.pk}-slot"
        assert "<html" not in form.content.decode()
        page = client.get(url)
        assert "<html" in page.content.decode()
        data = {"title": "Rear brake pads", "cause": "worn to 2 mm", "version": page.context["form"]["version"].value()}
        answer = client.post(url, data, headers=HTMX)
        assert f'id="op-{operation.pk}"' in answer.content.decode()
        assert "job-changed" in answer["HX-Trigger-After-Settle"]
        assert Operation.objects.get().cause == "worn to 2 mm"

    def test_moved_by_buttons(self, client, counter):
        counter.operation("A")
        second = counter.operation("B")
        client.post(reverse("jobs:operation-up", args=[second.pk]))
        assert [row.title for row in Operation.objects.all()] == ["B", "A"]
        client.post(reverse("jobs:operation-down", args=[second.pk]))
        assert [row.title for row in Operation.objects.all()] == ["A", "B"]

    def test_removed_and_put_back_by_the_message(self, client, counter):
        operation = counter.operation()
        counter.line(operation)
        answer = client.post(reverse("jobs:operation-remove", args=[operation.pk]), follow=True)
        entry = AuditEntry.objects.get(verb="removed operation")
        url = reverse("jobs:put-back", args=[entry.pk])
        assert f'action="{url}"' in answer.content.decode()
        client.post(url)
        assert Operation.objects.get().lines.count() == 1

    def test_declined_work_is_not_removed_and_the_page_says_why(self, client, counter):
        operation = counter.operation()
        decide(operation=operation, decision="declined", actor=counter.actor, now=counter.now)
        answer = client.post(reverse("jobs:operation-remove", args=[operation.pk]), follow=True)
        assert "stays on record" in answer.content.decode()


class TestPanels:
    @pytest.mark.parametrize("kind", ["customer", "vehicle"])
    def test_visits_stand_on_the_page_and_lead_to_a_new_one(self, client, counter, kind):
        counter.operation("Rear brake pads")
        subject = counter.job.customer if kind == "customer" else counter.vehicle
        page = page_of(client, kind, subject.pk)
        for shown in (reverse("jobs:sheet", args=[counter.job.pk]), "Rear brake pads", f"?{kind}={subject.pk}"):
            assert shown in page

    def test_a_technician_is_led_to_the_bay(self, counter, login):
        page = page_of(login("technician"), "vehicle", counter.vehicle.pk)
        assert reverse("jobs:bay-job", args=[counter.job.pk]) in page
        assert reverse("jobs:sheet", args=[counter.job.pk]) not in page

    def test_no_more_questions_for_more_visits(self, client, counter):
        def another() -> None:
            Job.objects.update(stage=Stage.CLOSED)
            opened(counter.vehicle, counter.actor, counter.now)

        assert_budget(client, reverse("vehicle", args=[counter.vehicle.pk]), 25, another)

    def test_a_job_is_found_from_everywhere(self, counter):
        assert [found.url for found in search.find("KET118", kinds=["job"])] == [f"/jobs/{counter.job.pk}/"]
