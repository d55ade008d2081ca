"""The open step on a phone and on a tablet: what keeps somebody safe is on the first screen, and a glove hits it."""

import uuid
from pathlib import Path
from typing import Any, NamedTuple

import pytest
import yaml
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect

from invoicing.actions.authorizations import authorize
from invoicing.actions.estimates import write_estimate
from jobs import stages
from jobs.actions.intake import NewCustomer, NewVehicle, open_job
from jobs.actions.procedures import publish
from jobs.actions.stages import start_job
from jobs.actions.steps import act
from jobs.actions.writing_up import add_operation
from jobs.models import Job, JobStep
from jobs.procedure_files import parse
from tests.browser import axe
from tests.browser.cast import Garage
from tests.browser.conftest import TABLET, Doors, Person
from tests.browser.measuring import small_targets
from tests.browser.running import Running
from tests.browser.sentences import box, confirm, press_done, steady
from tests.browser.visits import TYPED, in_bay, visit

DEMO = Path(__file__).resolve().parents[2] / "invoicing" / "demo" / "procedures"
SIZES = [(360, 740), (820, 1180)]
GLOVE = 56
#: What is said once a step, and may not be under anything: each is whole on the first screen.
TOLD = ".big, .limits, .told .warn"
PRESSED = ".padded input, .pad, .step-form > .acts .act"


class Wordy(NamedTuple):
    """A step with a reading, by how much there is to say on its screen."""

    length: int
    procedure: str
    title: str


def wordiest() -> dict[str, Wordy]:
    """The demo's wordiest step of each kind that is read, so that every other one has more room."""
    found: dict[str, Wordy] = {}
    for file in sorted(DEMO.glob("*.yaml")):
        written = yaml.safe_load(file.read_text())
        for step in written["steps"]:
            if step.get("reading") and step["kind"] != "sample":
                length = sum(len(str(step.get(word, ""))) for word in ("title", "tool", "caution"))
                found[step["kind"]] = max(
                    found.get(step["kind"], Wordy(0, "", "")), Wordy(length, written["procedure"], step["title"])
                )
    return found


KINDS = wordiest()


def bare(file: Path) -> dict[str, Any]:
    """A procedure of the demo as it is worded, without what its shelf and its order of steps would ask for."""
    written: dict[str, Any] = yaml.safe_load(file.read_text())
    written.pop("needs", None)
    for step in written["steps"]:
        for word in ("uses", "hold point", "needs"):
            step.pop(word, None)
    return written


@pytest.fixture(scope="module")
def worded(garage: Garage, running: Running) -> dict[str, Job]:
    """For every procedure of the demo a car in the bay, by the procedure's title."""
    with running.book():
        files = enumerate(sorted(DEMO.glob("*.yaml")))
        return dict(in_the_bay(bare(file), f"PHN-{at:03}", garage) for at, file in files)


def in_the_bay(written: dict[str, Any], plate: str, garage: Garage) -> tuple[str, Job]:
    """A car in the bay with one procedure on it."""
    now, owner, who = timezone.now, garage.owner, garage.technician
    revision = publish(written=parse(yaml.safe_dump(written, sort_keys=False)), actor=owner, clock=now)
    job = open_job(
        key=uuid.uuid4(),
        customer=NewCustomer({"name": "Jory Penhallow"}, [("555-0177", "")], []),
        vehicle=NewVehicle({"make": "Brannock", "model": "Fell 2.4", "year": 2016, "plate": plate}),
        concern="It is due.",
        actor=owner,
        clock=now,
    )
    add_operation(job=job, title=revision.procedure.title, revision=revision, actor=owner, clock=now)
    estimate = write_estimate(job=job, actor=owner, clock=now)
    authorize(
        key=uuid.uuid4(),
        estimate=estimate,
        seal=estimate.content_sha256,
        decisions={operation.pk: ("authorized", "") for operation in job.operations.all()},
        person_name=job.customer.name,
        channel="phone",
        contact="555-0177",
        actor=owner,
        clock=now,
    )
    start_job(job=Job.objects.get(pk=job.pk), technician=who, actor=who, clock=now)
    return revision.procedure.title, job


def open_at(page: Page, jobs: dict[str, Job], running: Running, procedure: str, title: str) -> Locator:
    """Open a step of a job and give it; nothing is scrolled by hand."""
    job = jobs[procedure]
    with running.book():
        step = JobStep.objects.filter(operation__job=job, written__title=title)[0]
    page.goto(f"/bay/{job.pk}/?step={step.pk}")
    here = page.locator(".step.open")
    expect(here.get_by_role("heading", name=title)).to_be_in_viewport(ratio=0.95)
    return here


def edges(place: Locator) -> list[tuple[float, float]]:
    """Where each begins and ends, from the top of the screen."""
    boxes = [one.bounding_box() for one in place.all()]
    return [(at["y"], at["y"] + at["height"]) for at in boxes if at is not None]


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("kind", KINDS)
def test_a_step_is_whole_on_the_first_screen(
    person: Person, running: Running, worded: dict[str, Job], kind: str, size: tuple[int, int]
) -> None:
    width, height = size
    page = person("technician", **TABLET | {"viewport": {"width": width, "height": height}})
    here = open_at(page, worded, running, KINDS[kind].procedure, KINDS[kind].title)
    expect(here.locator(".step-bar")).to_contain_text("PHN-")
    expect(here.locator(".step-bar")).to_be_in_viewport(ratio=0.95)
    told, typed = edges(here.locator(TOLD)), edges(here.locator(PRESSED))
    assert len(typed) == 3, "the field, the pad and the act"
    assert all(top > -1 and bottom < height + 1 for top, bottom in told + typed), f"{told} and {typed} in {height}"
    if width < 700:  # one below the other: nothing that is told lies under the pad
        assert max(bottom for _top, bottom in told) <= min(top for top, _bottom in typed)
    assert not small_targets(page, GLOVE)


@pytest.mark.prove
@pytest.mark.timeout(900)
@pytest.mark.parametrize("size", SIZES, ids=str)
def test_every_step_that_is_read_is_whole_on_the_first_screen(
    person: Person, running: Running, worded: dict[str, Job], size: tuple[int, int]
) -> None:
    width, height = size
    page = person("technician", **TABLET | {"viewport": {"width": width, "height": height}})
    cut = []
    for file in sorted(DEMO.glob("*.yaml")):
        written = yaml.safe_load(file.read_text())
        for step in written["steps"]:
            if step.get("reading") and step["kind"] != "sample":
                here = open_at(page, worded, running, written["procedure"], step["title"])
                all_of_it = edges(here.locator(TOLD)) + edges(here.locator(PRESSED))
                cut += [step["title"]] * any(top < -1 or bottom > height + 1 for top, bottom in all_of_it)
    assert not cut


def done(step: JobStep, garage: Garage) -> None:
    """Somebody else did this step as it should be."""
    typed, who = TYPED.get(step.position, {}), garage.technician
    act(event_id=uuid.uuid4(), step=step, kind="tick", base_version=0, data=typed, actor=who, clock=timezone.now)


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_the_bay_opens_at_the_open_step_with_what_is_done_folded(
    person: Person, running: Running, garage: Garage, size: tuple[int, int]
) -> None:
    width, height = size
    page = person("technician", **TABLET | {"viewport": {"width": width, "height": height}})
    in_bay(page, running, garage, f"FLD-{width}")
    confirm(page, tap=True)
    box(page, "Came out, L").fill("0.8")
    press_done(page)
    for sign, words in {"Color": "brown", "Clarity": "clear", "Particles": "none", "Smell": "as usual"}.items():
        page.get_by_role("group", name=sign).get_by_text(words, exact=True).tap()
    press_done(page)
    expect(page.get_by_role("heading", name="Tighten the drain plug")).to_be_visible()
    page.reload()
    expect(page.locator(".step-bar").get_by_text(f"FLD-{width}")).to_be_in_viewport()
    for part in (".big", ".padded input", ".step-form .act"):
        expect(page.locator(part)).to_be_in_viewport(ratio=0.95)
    expect(page.get_by_text("Fill plug opens freely")).to_be_hidden()
    page.get_by_text("3 steps before this one").tap()
    expect(page.get_by_text("Fill plug opens freely")).to_be_visible()
    assert not axe.violations(page)


def test_a_wrench_in_the_other_unit_is_typed_as_it_reads(person: Person, running: Running, garage: Garage) -> None:
    """17.6 N·m are 13 ft·lb: the step asks in ft·lb, the wrench reads N·m."""
    with running.book():
        came = visit(garage, "Nell Ashby", "UNI-176", until=stages.IN_BAY)
        steps = JobStep.objects.filter(operation__job=came.job).order_by("position")
        for step in steps[:6]:
            done(step, garage)
        step = steps[6]
    page = person("technician", **TABLET)
    page.goto(f"/bay/{came.job.pk}/?step={step.pk}")
    here = page.locator(".step.open .step-form")
    field = box(here, "Torque, ft·lb")
    pad = here.get_by_role("group", name="Number pad")
    expect(pad.get_by_role("button", name="ft·lb")).to_have_attribute("aria-pressed", "true")
    steady(page)
    for key in ("1", "7", "N·m", "Decimal point", "6", "5", "Erase"):
        pad.get_by_role("button", name=key, exact=True).tap()
    expect(field).to_have_value("17.6 N·m")
    expect(pad.get_by_role("button", name="N·m")).to_have_attribute("aria-pressed", "true")
    pad.get_by_role("button", name="ft·lb").tap()
    expect(here.get_by_role("button", name="Done, 17.6 ft·lb")).to_be_visible()
    pad.get_by_role("button", name="N·m").tap()
    here.get_by_role("button", name="Done, 17.6 N·m").tap()
    expect(page.get_by_text("All 7 steps done")).to_be_visible()
    with running.book():
        [reading] = JobStep.objects.get(pk=step.pk).readings.all()
        assert (reading.typed, reading.unit, reading.verdict) == ("17.6 N·m", "ft_lb", "ok")


def test_a_tick_is_said_and_the_keyboard_goes_on_at_the_next_act(
    doors: Doors, running: Running, garage: Garage
) -> None:
    page = doors.person("technician")
    in_bay(page, running, garage, "SAY-712")
    expect(page.locator("summary", has_text="Confirm step")).to_be_focused()
    steady(page)
    for key in ("Enter", "Tab", "Enter"):  # the first opens the second button
        page.keyboard.press(key)
    status = page.locator("#spoken[role=status]")
    expect(status).to_have_text("Step 1 done. Next: Drain the fluid.")
    expect(box(page, "Came out, L")).to_be_focused()
    page.keyboard.type("0.8")
    steady(page)
    page.keyboard.press("Enter")
    expect(status).to_have_text("Step 2 done. Next: Look at the drained fluid.")
    expect(page.get_by_role("radio").first).to_be_focused()
