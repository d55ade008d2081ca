"""The bay's pages: who may see them, what they say, what they never say, and how often they ask the database."""

import io
import re
import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from garage.clock import fixed
from jobs.actions.procedures import publish
from jobs.actions.stages import start_job
from jobs.actions.steps import act
from jobs.actions.writing_up import add_operation
from jobs.models import FluidSample, JobStep
from jobs.procedure_files import parse
from parts.actions.items import supersede
from tests.budget import assert_budget
from tests.decided import decide
from tests.jobs.bay_cast import PROCEDURE, SAMPLE, Bay, car, in_bay, stock_item, written_up

MONEY = re.compile(r"61\.20|57\.92|128\.00|153\.60|36\.00|\bprices?\b|\bcosts?\b", re.IGNORECASE)


@pytest.fixture
def bay(shop, people, now) -> Bay:
    return in_bay(people, now)


def sheet(response) -> str:
    """The page's own part, without frame and tokens."""
    text = response.content.decode()
    return re.sub(r'value="[^"]*"', "", text[text.find("<main") :])


def step_post(client, step: JobStep, kind: str = "tick", *, htmx: bool = False, **data: Any):
    headers = {"HX-Request": "true"} if htmx else {}
    sure = {"sure": "yes"} if step.hold_point and kind == "tick" else {}
    given = {"event": str(uuid.uuid4()), "shown": step.pk, "base_version": step.version, **sure, **data}
    return client.post(reverse("jobs:bay-step", args=[step.pk, kind]), given, headers=headers)


def test_a_version_no_step_can_have_is_turned_away(bay: Bay, login) -> None:
    answer = step_post(login("technician"), bay.step(1), base_version="9" * 20)
    assert answer.status_code == 422


def test_every_page_of_the_bay_opens(bay: Bay, login) -> None:
    client = login("technician")
    bay.do_all()
    job, line, step = bay.job.pk, bay.operation.lines.get(item=bay.fluid).pk, bay.step(3)
    procedure = bay.revision.procedure_id
    pages = [
        reverse("jobs:bay-job", args=[job]),
        reverse("jobs:bay-finish", args=[job]),
        reverse("jobs:advisory", args=[job]),
        reverse("jobs:bay-findings", args=[bay.operation.pk]),
        reverse("jobs:bay-draw", args=[line]),
        reverse("jobs:bay-return", args=[line]),
        reverse("jobs:step-photo", args=[step.pk]),
        reverse("jobs:samples", args=[bay.vehicle.pk, bay.component.pk]),
        reverse("jobs:procedures"),
        reverse("jobs:procedure", args=[procedure]),
        reverse("jobs:procedure-revision", args=[procedure, 1]),
        reverse("jobs:procedure-file"),
    ]
    pages += [reverse("jobs:bay-job", args=[job]) + f"?step={bay.step(number).pk}" for number in range(1, 8)]
    for url in pages:
        response = client.get(url)
        assert response.status_code == 200, url
        assert not MONEY.search(sheet(response)), url


def test_the_list_shows_my_jobs_first_and_what_the_others_wait_for(bay: Bay, people, login, now) -> None:
    revision = bay.revision
    ready = written_up(car(people["owner"], now, "LOR-552"), revision, people["owner"], now, 51200)
    decide(operation=ready, decision="authorized", actor=people["owner"], now=now)
    written_up(car(people["owner"], now, "XEB-733"), revision, people["owner"], now, 51200)
    text = sheet(login("technician").get(reverse("bay")))
    assert text.index("Mine") < text.index("KET-118") < text.index("Ready to start") < text.index("LOR-552")
    assert text.index("LOR-552") < text.index("Waiting") < text.index("XEB-733")
    assert "waits for the bay since" in text
    assert "waits for an estimate since" in text
    assert "0 of 7" in text


def test_start_takes_the_car_into_the_bay_under_my_name(bay: Bay, people, login, now) -> None:
    ready = written_up(car(people["owner"], now, "LOR-552"), bay.revision, people["owner"], now, 51200)
    client = login("technician")
    refused = client.post(reverse("jobs:bay-start", args=[ready.job_id]), follow=True)
    assert "Nothing on Job 2 is authorized yet" in refused.content.decode()
    decide(operation=ready, decision="authorized", actor=people["owner"], now=now)
    client.post(reverse("jobs:bay-start", args=[ready.job_id]))
    ready.job.refresh_from_db()
    assert (ready.job.stage, ready.job.technician) == ("in_bay", people["technician"])


def test_a_tick_without_javascript_leads_back_to_the_next_step(bay: Bay, login) -> None:
    client = login("technician")
    response = step_post(client, bay.step(1))
    assert (response.status_code, response["Location"]) == (303, reverse("jobs:bay-job", args=[bay.job.pk]))
    page = sheet(client.get(response["Location"]))
    assert "Technician Test" in page
    assert "Step 2 of 7</span>" in page
    assert "The pan must hold 0.95 L · 1.00 qt." in page


def test_a_tick_by_htmx_answers_with_the_list_alone(bay: Bay, login) -> None:
    response = step_post(login("technician"), bay.step(1), htmx=True)
    text = response.content.decode()
    assert response.status_code == 200
    assert text.strip().startswith('<div id="work">')
    assert "Step 2 of 7</span>" in text
    assert response["HX-Replace-Url"] == reverse("jobs:bay-job", args=[bay.job.pk])


def test_a_double_tap_on_done_fills_once(bay: Bay, login) -> None:
    bay.do(1)
    bay.do(5)
    client, step, event = login("technician"), bay.step(6), str(uuid.uuid4())
    for _ in range(2):
        step_post(client, step, event=event, reading="0,85")
    assert bay.on_hand(bay.fluid) == Decimal("2.15")


def test_thirteen_foot_pounds_are_shown_as_seventeen_point_six_newton_meters(bay: Bay, login) -> None:
    """13 x 1.3558179483314004 (NIST SP 811, Appendix B) is 17.63 N·m."""
    bay.do(1)
    page = sheet(login("technician").get(f"{reverse('jobs:bay-job', args=[bay.job.pk])}?step={bay.step(4).pk}"))
    assert "13 ft·lb" in page
    assert "OK: 12–14 ft·lb (16.3–19.0 N·m)" in page
    assert "Threads: clean and dry." in page
    assert "The manufacturer’s data comes first." in page


def test_a_reading_outside_keeps_what_was_typed_and_says_why_beside_it(bay: Bay, login) -> None:
    bay.do(1)
    response = step_post(login("technician"), bay.step(4), reading="16")
    text = response.content.decode()
    assert response.status_code == 422
    assert "16 ft·lb · 21.7 N·m is above the limit of 14 ft·lb (19.0 N·m)" in text
    assert 'value="16"' in text
    assert 'name="reason"' in text
    assert bay.step(4).state == "open"
    assert step_post(login("technician"), bay.step(4), reading="16", reason="slipped").status_code == 303
    page = sheet(login("technician").get(reverse("jobs:bay-job", args=[bay.job.pk])))
    assert "Tightened too far: check threads and seat" in page


def test_what_was_tightened_too_far_is_looked_at_before_the_work_goes_on(bay: Bay, login) -> None:
    bay.do(1)
    bay.do(2, reading="0.82")
    bay.do(3, **SAMPLE)
    bay.do(4, reading="16", reason="slipped")
    client, url = login("technician"), reverse("jobs:bay-job", args=[bay.job.pk])
    assert "Step 5 of 8" in sheet(client.get(url))  # the hold point before it
    bay.do(5)
    assert "Step 8 of 8" in sheet(client.get(url))
    bay.do(8)
    assert "Step 6 of 8" in sheet(client.get(url))


def test_a_sample_that_was_not_looked_at_says_what_to_tap(bay: Bay, login) -> None:
    bay.do(1)
    text = step_post(login("technician"), bay.step(3), color="brown").content.decode()
    assert "Tap what fits: clarity." in text
    assert "Tap what fits: color." not in text
    assert "This field is required" not in text


def test_a_held_step_cannot_be_ticked_by_its_address(bay: Bay, login) -> None:
    response = step_post(login("technician"), bay.step(6), reading="0.85")
    assert response.status_code == 422
    assert "it must be checked first" in response.content.decode()
    assert bay.on_hand(bay.fluid) == 3


def test_what_came_out_and_what_went_in_stand_side_by_side(bay: Bay, login) -> None:
    bay.do(1)
    bay.do(2, reading="0.68")
    bay.do(5)
    client, url = login("technician"), f"{reverse('jobs:bay-job', args=[bay.job.pk])}?step={bay.step(6).pk}"
    assert "0.68 L · 0.72 qt came out." in sheet(client.get(url))
    bay.do(6, reading="0.70")
    assert "0.68 out, 0.70 in: 0.02 L · 0.02 qt more in than out" in sheet(client.get(url))


def test_a_conflict_is_said_in_words_and_the_first_reading_stands(bay: Bay, login) -> None:
    bay.do(1)
    bay.do(5)
    stale = bay.step(6)
    bay.do(6, reading="0.85")
    response = step_post(login("technician"), stale, reading="0.70", htmx=True)
    assert "Technician Test did “Fill to the edge” meanwhile with 0.85" in response.content.decode()
    assert bay.on_hand(bay.fluid) == Decimal("2.15")


def test_the_sample_form_shows_last_time_and_the_rule(bay: Bay, login) -> None:
    bay.do(1)
    FluidSample.objects.create(
        vehicle=bay.vehicle,
        component=bay.component,
        on=bay.now.date(),
        color="amber",
        clarity="clear",
        particles="none",
        smell="usual",
        verdict="serviceable",
    )
    client, url = login("technician"), f"{reverse('jobs:bay-job', args=[bay.job.pk])}?step={bay.step(3).pk}"
    page = sheet(client.get(url))
    assert "Last time:" in page
    assert "amber, clear" in page
    assert "Color alone is weak evidence" in page
    response = step_post(client, bay.step(3), color="brown")
    assert response.status_code == 422
    step_post(client, bay.step(3), **{**SAMPLE, "smell": "burnt"}, reading="0.82 L")
    assert "spent" in sheet(client.get(url))
    trend = sheet(client.get(reverse("jobs:samples", args=[bay.vehicle.pk, bay.component.pk])))
    assert trend.index("spent") < trend.index("serviceable")


def test_work_that_is_not_authorized_shows_no_act(bay: Bay, people, login, now) -> None:
    other = add_operation(
        job=bay.job, title="Rear differential", revision=bay.revision, actor=people["owner"], clock=fixed(now)
    )
    first = other.steps.get(position=1)
    page = sheet(login("technician").get(reverse("jobs:bay-job", args=[bay.job.pk])))
    assert "not authorized: it may not be started" in page
    assert f"?step={first.pk}" not in page
    response = step_post(login("technician"), first)
    assert response.status_code == 422
    assert "is not authorized" in response.content.decode()


def test_a_photo_is_kept_at_its_step(bay: Bay, login) -> None:
    picture = io.BytesIO()
    Image.new("RGB", (40, 30), "brown").save(picture, "JPEG")
    client, url, key = login("technician"), reverse("jobs:step-photo", args=[bay.step(1).pk]), str(uuid.uuid4())
    for _ in range(2):
        upload = SimpleUploadedFile("plug.jpg", picture.getvalue(), "image/jpeg")
        client.post(url, {"key": key, "photo": upload, "caption": "fill plug"})
    assert bay.step(1).photos.get().caption == "fill plug"
    refused = client.post(url, {"key": str(uuid.uuid4()), "photo": SimpleUploadedFile("x.svg", b"<svg/>")})
    assert refused.status_code == 422


def test_something_noticed_takes_two_taps(bay: Bay, login) -> None:
    client, url = login("technician"), reverse("jobs:advisory", args=[bay.job.pk])
    given = {"key": str(uuid.uuid4()), "usual": "Oil leak", "limit": "next"}
    assert client.post(url, given).status_code == 303
    within = {
        "key": str(uuid.uuid4()),
        "usual": "other",
        "text": "Pads at 3 mm",
        "limit": "distance",
        "within": "3,000",
    }
    client.post(url, within)
    noted = {row.text: row.by_odometer for row in bay.job.advisories.all()}
    assert noted == {"Oil leak": None, "Pads at 3 mm": 91410}
    assert client.post(url, {**given, "key": str(uuid.uuid4()), "usual": "other"}).status_code == 422


def test_found_and_done_are_written_without_overwriting_another(bay: Bay, login) -> None:
    client, url = login("technician"), reverse("jobs:bay-findings", args=[bay.operation.pk])
    version = client.get(url).context["form"]["version"].value()
    client.post(url, {"version": version, "cause": "Fluid dark", "correction": "Changed it"})
    late = client.post(url, {"version": version, "cause": "Other words", "correction": ""})
    assert late.status_code == 422
    bay.operation.refresh_from_db()
    assert (bay.operation.cause, bay.operation.correction) == ("Fluid dark", "Changed it")


def test_finish_says_what_is_left_and_then_reads_the_odometer(bay: Bay, login) -> None:
    client, url = login("technician"), reverse("jobs:bay-finish", args=[bay.job.pk])
    assert "7 steps are open" in sheet(client.get(url))
    bay.do_all()
    assert client.post(url, {"reading": "", "unit": "mi"}).status_code == 422
    lower = client.post(url, {"reading": "88,000", "unit": "mi"})
    assert lower.status_code == 422
    assert "lower_reason" in lower.content.decode()
    assert client.post(url, {"look": "on", "reading": "88,412", "unit": "mi"}).status_code == 303
    bay.job.refresh_from_db()
    assert bay.job.stage == "finished"


@pytest.mark.parametrize("role", ["reader"])
def test_the_bay_is_closed_to_those_who_only_read_the_books(bay: Bay, login, role: str) -> None:
    client = login(role)
    for url in (
        reverse("jobs:bay-job", args=[bay.job.pk]),
        reverse("jobs:procedures"),
        reverse("jobs:bay-finish", args=[bay.job.pk]),
    ):
        assert client.get(url).status_code == 403
    assert step_post(client, bay.step(1)).status_code == 403


def test_what_is_not_there_is_not_found_and_acts_are_not_gets(bay: Bay, login) -> None:
    client = login("technician")
    assert client.get(reverse("jobs:bay-job", args=[999])).status_code == 404
    assert step_post(client, bay.step(1), "toggle").status_code == 404
    assert client.get(reverse("jobs:bay-step", args=[bay.step(1).pk, "tick"])).status_code == 405
    assert client.get(f"{reverse('jobs:bay-job', args=[bay.job.pk])}?step=abc").status_code == 200
    assert client.get(reverse("jobs:due")).status_code == 403


def test_the_bay_asks_the_database_a_fixed_number_of_times(bay: Bay, people, login, now) -> None:
    plates = iter(f"BUD-{number:03}" for number in range(20))

    def another_job() -> None:
        vehicle = car(people["owner"], now, next(plates))
        operation = written_up(vehicle, bay.revision, people["owner"], now, 1000)
        decide(operation=operation, decision="authorized", actor=people["owner"], now=now)

    def another_operation() -> None:
        operation = add_operation(
            job=bay.job, title="Again", revision=bay.revision, actor=people["owner"], clock=fixed(now)
        )
        decide(operation=operation, actor=people["owner"], now=now)

    def another_procedure() -> None:
        publish(written=parse(PROCEDURE.replace("change", next(plates))), actor=people["owner"], clock=fixed(now))

    bay.do(1)
    bay.do(2, reading="0.82")
    assert_budget(login("technician"), reverse("bay"), 9, another_job)
    assert_budget(login("technician"), reverse("jobs:procedures"), 7, another_procedure)
    assert_budget(login("technician"), reverse("jobs:bay-job", args=[bay.job.pk]), 20, another_operation)


def test_a_step_names_the_fluid_of_the_sheet_and_not_the_one_it_has_replaced(bay: Bay, login) -> None:
    newer = stock_item("Transfer case fluid TC-76", "TC-76", "L", 1, "1", bay.technician, bay.now)
    supersede(old=bay.fluid, new=newer, on=bay.now.date(), actor=bay.technician, clock=fixed(bay.now))
    operation = written_up(car(bay.technician, bay.now, "KET-119"), bay.revision, bay.technician, bay.now, 70200)
    decide(operation=operation, decision="authorized", actor=bay.technician, now=bay.now)
    start_job(job=operation.job, technician=bay.technician, actor=bay.technician, clock=fixed(bay.now))
    for step in operation.steps.filter(position__lt=6):
        data = {"reading": "0.8" if step.position in (2, 3) else "13", **SAMPLE}
        act(event_id=uuid.uuid4(), step=step, kind="tick", base_version=step.version, data=data, actor=bay.technician,
            clock=fixed(bay.now))  # fmt: skip
    page = sheet(login("technician").get(reverse("jobs:bay-job", args=[operation.job_id])))
    assert "Taken from the shelf when done: Transfer case fluid TC-76" in page


def test_a_form_brought_back_with_its_old_key_says_that_nothing_was_kept(bay: Bay, login) -> None:
    client, url = login("technician"), reverse("jobs:advisory", args=[bay.job.pk])
    given = {"key": str(uuid.uuid4()), "usual": "other", "text": "Pads at 3 mm", "limit": "next"}
    client.post(url, given)
    again = client.post(url, {**given, "text": "Oil leak at the pan"})
    assert again.status_code == 422
    said = again.content.decode()
    assert "sent before with something else" in said and "Oil leak at the pan" in said
    assert [row.text for row in bay.job.advisories.all()] == ["Pads at 3 mm"]
