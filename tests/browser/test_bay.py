"""A tablet in the bay: the shop's computer that does not answer, and what the number pad cannot say."""

import time
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Locator, Route, expect

from garage.clock import fixed
from jobs import stages
from jobs.actions.procedures import publish
from jobs.actions.writing_up import add_operation
from jobs.models import JobStep
from jobs.procedure_files import parse
from tests.browser.cast import Garage
from tests.browser.conftest import TABLET, Doors, Person
from tests.browser.running import Running
from tests.browser.sentences import box, confirm, press_done, steady, tap_in
from tests.browser.visits import Visit, go_on, in_bay, visit

PHONE: dict[str, Any] = {"viewport": {"width": 360, "height": 740}, "has_touch": True}


def test_a_tick_that_does_not_arrive_is_said_in_view_and_can_be_sent_again(
    doors: Doors, running: Running, garage: Garage
) -> None:
    page = doors.person("technician", **TABLET)
    came = in_bay(page, running, garage, "OFF-711")
    confirm(page)
    box(page, "Came out, L").fill("0.8")
    page.route("**/tick/", lambda route: route.abort())
    press_done(page)
    lost = page.get_by_role("status").get_by_text("does not answer. This may not be saved")
    expect(lost).to_be_in_viewport()
    expect(box(page, "Came out, L")).to_have_value("0.8")
    only_lost(doors)
    page.unroute("**/tick/")
    press_done(page)
    expect(page.get_by_role("heading", name="Look at the drained fluid")).to_be_visible()
    expect(lost).to_have_count(0)
    with running.book():
        drained = JobStep.objects.get(operation__job=came.job, position=2)
        assert [reading.typed for reading in drained.readings.all()] == ["0.8"]


def test_a_tick_whose_answer_is_lost_is_not_said_to_be_lost_and_counts_once(
    doors: Doors, running: Running, garage: Garage
) -> None:
    page = doors.person("technician", **TABLET)
    came = in_bay(page, running, garage, "ANS-715")
    confirm(page)
    steady(page)
    box(page, "Came out, L").fill("0.8")

    def without_answer(route: Route) -> None:
        route.fetch()
        route.abort()

    page.route("**/tick/", without_answer)
    press_done(page)
    said = page.get_by_role("status").get_by_text("does not answer")
    expect(said).to_be_in_viewport()
    expect(said).not_to_contain_text("Nothing was saved")
    assert states(running, came)[:3] == ["done", "done", "open"]
    only_lost(doors)
    page.unroute("**/tick/")
    press_done(page)
    expect(page.get_by_role("heading", name="Look at the drained fluid")).to_be_visible()
    expect(said).to_have_count(0)
    assert states(running, came)[:3] == ["done", "done", "open"]


def test_a_form_of_its_own_page_keeps_what_was_typed_until_the_server_answers(
    doors: Doors, running: Running, garage: Garage
) -> None:
    page = doors.person("technician", **TABLET)
    in_bay(page, running, garage, "OFF-713")
    page.get_by_role("link", name="Write findings").first.click()
    box(page, "Found").fill("Seal weeps at the output shaft.")
    page.context.set_offline(True)
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("status").get_by_text("Nothing was saved")).to_be_in_viewport()
    expect(box(page, "Found")).to_have_value("Seal weeps at the output shaft.")
    assert all("ERR_INTERNET_DISCONNECTED" in fault for fault in doors.opened[-1][1].take())
    page.context.set_offline(False)
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("main")).to_contain_text("Seal weeps at the output shaft.")
    expect(page.get_by_role("heading", level=1)).to_contain_text("OFF-713")


def test_what_is_typed_at_a_step_stays_when_a_note_is_saved(person: Person, running: Running, garage: Garage) -> None:
    page = person("technician", **TABLET)
    in_bay(page, running, garage, "NTE-714")
    confirm(page)

    def note(text: str) -> None:
        steady(page)
        page.locator("#open-step").locator("summary", has_text="Note").tap()
        box(page, "Note").fill(text)
        page.get_by_role("button", name="Save note").tap()
        expect(page.get_by_role("main").get_by_text(text)).to_be_visible()

    steady(page)
    tap_in(page, "0.8")
    page.locator("summary", has_text="Skip step").tap()
    box(page, "Why it cannot be done").fill("The plug is round.")
    note("The washer stuck to the plug.")
    expect(box(page, "Came out, L")).to_have_value("0.8")
    steady(page)
    page.locator("summary", has_text="Skip step").tap()
    expect(box(page, "Why it cannot be done")).to_have_value("The plug is round.")
    expect(page.get_by_role("button", name="Done, 0.8 L")).to_be_visible()  # the pad knows it too
    press_done(page)
    expect(page.get_by_role("heading", name="Look at the drained fluid")).to_be_visible()
    brown = page.get_by_role("radio", name="brown", exact=True)
    steady(page)
    brown.check()
    note("Photo on the bench.")
    expect(brown).to_be_checked()
    expect(box(page, "Came out, L")).to_have_value("")


def test_the_keyboard_opens_for_a_reading_in_another_unit(person: Person, running: Running, garage: Garage) -> None:
    page = person("technician", **TABLET)
    in_bay(page, running, garage, "QTS-712")
    confirm(page)
    expect(box(page, "Came out, L")).to_have_attribute("inputmode", "none")  # the pad is there instead
    page.get_by_role("button", name="Other unit, fraction").tap()
    expect(box(page, "Came out, L")).to_have_attribute("inputmode", "text")
    expect(box(page, "Came out, L")).to_be_focused()
    page.keyboard.type("3/4 qt")
    press_done(page)
    page.get_by_text("2 steps before this one").tap()
    expect(page.get_by_text("Drain the fluid, 0.75 qt · 0.71 L")).to_be_visible()


#: By how much the hint in a field is wider than the room for it, in px.
HINT_OVER = """(field) => {
  const style = getComputedStyle(field);
  const words = document.createElement("span");
  words.style.font = style.font;
  words.style.position = "absolute";
  words.textContent = field.placeholder;
  document.body.append(words);
  return words.offsetWidth - (field.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight));
}"""


@pytest.mark.parametrize("role", ["counter", "technician"])
def test_the_hint_of_the_find_box_is_whole_in_the_bay(person: Person, role: str) -> None:
    """The letters are larger there, and the bar has the same places."""
    for size in (TABLET, PHONE):
        page = person(role, **size)
        page.goto("/bay/")
        find = page.get_by_role("searchbox", name="Find")
        assert find.get_attribute("placeholder")
        over = find.evaluate(HINT_OVER)
        assert over <= 0, f"{size['viewport']['width']} px: {over} px too wide"


#: Two steps without a reading, so that a second tap has something to land on; then a hold point.
QUICK = """
procedure: Walk around
component: Body
hours: 0.2
steps:
  - title: Look at the left side
  - title: Look at the right side
  - {title: Nobody is under the car, hold point: yes}
  - title: Lower it
"""
STEP_IS = "(title) => document.querySelector('#open-step h2')?.textContent === title"


def quick(garage: Garage, plate: str) -> Visit:
    """A car in the bay for a walk around it alone."""
    now, owner = timezone.now(), garage.owner
    revision = publish(written=parse(QUICK), actor=owner, clock=fixed(now))
    came = visit(garage, "Nell Ashby", plate, until=stages.WRITTEN_UP)
    came.job.operations.all().delete()
    add_operation(job=came.job, title="Walk around", revision=revision, actor=owner, clock=fixed(now))
    go_on(came, until=stages.IN_BAY)
    return came


def only_lost(doors: Doors) -> None:
    """What the browser complained of is the answer that never came."""
    assert all("ERR_FAILED" in fault or "sendError" in fault for fault in doors.opened[-1][1].take())


def states(running: Running, came: Visit) -> list[str]:
    with running.book():
        steps = JobStep.objects.filter(operation__job=came.job).order_by("position")
        return list(steps.values_list("state", flat=True))


def middle(target: Locator) -> tuple[float, float]:
    there = target.bounding_box()
    assert there is not None
    return there["x"] + there["width"] / 2, there["y"] + there["height"] / 2


@pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])
@pytest.mark.parametrize("apart", [250, 400])
def test_a_double_tap_on_done_ticks_one_step(
    person: Person, running: Running, garage: Garage, size: dict[str, Any], apart: int
) -> None:
    with running.book():
        came = quick(garage, f"DBL-{apart}{size['viewport']['width']}")
    page = person("technician", **size)
    page.goto(f"/bay/{came.job.pk}/")
    act = page.get_by_role("button", name="Done", exact=True)
    expect(act).not_to_have_attribute("aria-disabled", "true")
    page.touchscreen.tap(*middle(act))
    begun = time.monotonic()
    page.wait_for_function(STEP_IS, arg="Look at the right side", polling="raf")
    page.wait_for_timeout(max(0, apart - 1000 * (time.monotonic() - begun)))
    page.touchscreen.tap(*middle(act))  # the worst place: the new step's own act
    page.wait_for_timeout(400)
    assert states(running, came) == ["done", "open", "open", "open"]
    expect(page.locator("#spoken")).to_have_text("This step has just opened: press again.")
    expect(act).not_to_have_attribute("aria-disabled", "true")
    act.tap()
    expect(page.get_by_role("heading", name="Nobody is under the car")).to_be_visible()
    assert states(running, came) == ["done", "done", "open", "open"]


@pytest.mark.parametrize(("key", "ticks"), [("Enter", 1), ("Space", 0)])
def test_a_key_held_down_ticks_no_second_step(
    person: Person, running: Running, garage: Garage, key: str, ticks: int
) -> None:
    """Enter presses at once, Space when it is let go: held down, neither presses what came meanwhile."""
    with running.book():
        came = quick(garage, f"HLD-{key}")
    page = person("technician", **TABLET)
    page.goto(f"/bay/{came.job.pk}/")
    act = page.get_by_role("button", name="Done", exact=True)
    expect(act).not_to_have_attribute("aria-disabled", "true")
    act.focus()
    page.keyboard.down(key)
    if ticks:
        page.wait_for_function(STEP_IS, arg="Look at the right side", polling="raf")
    for _ in range(12):  # a key that is held repeats
        act.focus()
        page.keyboard.down(key)
        page.wait_for_timeout(100)
    page.keyboard.up(key)
    page.wait_for_timeout(300)
    assert states(running, came).count("done") == ticks
    page.keyboard.press(key)  # let go and pressed again it counts
    expect(page.get_by_role("heading", name="Look at the left side")).to_have_count(0)


@pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])
def test_a_hold_point_takes_a_second_tap_at_another_place(
    person: Person, running: Running, garage: Garage, size: dict[str, Any]
) -> None:
    page = person("technician", **size)
    came = in_bay(page, running, garage, f"TWO-{size['viewport']['width']}")
    first = page.locator("summary", has_text="Confirm step")
    expect(first).not_to_have_attribute("aria-disabled", "true")
    first.scroll_into_view_if_needed()
    before = first.bounding_box()
    page.touchscreen.tap(*middle(first))
    second = page.get_by_role("button", name="Yes, I checked it")
    expect(second).to_be_visible()
    after, other = first.bounding_box(), second.bounding_box()
    assert before and after and other
    assert abs(before["y"] - after["y"]) < 3, "the first target stays where it was tapped"
    assert other["y"] >= before["y"] + before["height"], "the second is never under the same finger"
    page.touchscreen.tap(*middle(first))  # a double tap only folds it again
    assert states(running, came)[0] == "open"
    first.tap()
    second.tap()
    expect(page.get_by_role("heading", name="Drain the fluid")).to_be_visible()
    assert states(running, came)[0] == "done"


def test_the_keys_pressed_twice_open_a_hold_point_and_do_not_confirm_it(
    person: Person, running: Running, garage: Garage
) -> None:
    """Ctrl+Enter is the main act of whatever is there: pressed twice it was meant once."""
    page = person("technician", **TABLET)
    came = in_bay(page, running, garage, "CHD-731")
    steady(page)
    second = page.get_by_role("button", name="Yes, I checked it")
    expect(page.locator("summary", has_text="Confirm step")).to_be_focused()
    page.keyboard.press("Control+Enter")
    expect(second).to_be_visible()
    page.keyboard.press("Control+Enter")
    page.wait_for_timeout(400)
    expect(second).to_be_visible()
    assert states(running, came)[0] == "open"
    expect(page.locator("#spoken")).to_have_text("This step has just opened: press again.")
    page.wait_for_timeout(700)  # as long as a step waits that has just come
    page.keyboard.press("Control+Enter")
    expect(page.get_by_role("heading", name="Drain the fluid")).to_be_visible()
    assert states(running, came)[0] == "done"


def test_enter_in_a_hold_point_asks_for_the_second_tap(doors: Doors, running: Running, garage: Garage) -> None:
    """Without JavaScript too: what Enter sends is not the confirmation."""
    page = doors.person("technician", **TABLET, java_script_enabled=False)
    came = in_bay(page, running, garage, "ENT-730")
    page.locator("summary", has_text="Confirm step").click()
    page.get_by_role("button", name="Yes, I checked it").click()
    expect(page.get_by_role("heading", name="Drain the fluid")).to_be_visible()
    assert states(running, came)[0] == "done"
