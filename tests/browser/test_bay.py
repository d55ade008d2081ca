"""A tablet in the bay: the shop's computer that does not answer, and what the number pad cannot say."""

from playwright.sync_api import expect

from jobs import stages
from jobs.models import JobStep
from tests.browser.cast import Garage
from tests.browser.conftest import TABLET, Doors, Person
from tests.browser.running import Running
from tests.browser.sentences import box, press_done
from tests.browser.visits import visit


def test_a_tick_that_does_not_arrive_is_said_in_view_and_can_be_sent_again(
    doors: Doors, running: Running, garage: Garage
) -> None:
    with running.book():
        came = visit(garage, "Nell Ashby", "OFF-711", until=stages.IN_BAY)
    page = doors.person("technician", **TABLET)
    page.goto(f"/bay/{came.job.pk}/")
    page.get_by_role("button", name="Confirmed").click()
    box(page, "Came out, L").fill("0.8")
    page.route("**/tick/", lambda route: route.abort())
    press_done(page)
    lost = page.get_by_role("status").get_by_text("Nothing was saved")
    expect(lost).to_be_in_viewport()
    expect(box(page, "Came out, L")).to_have_value("0.8")
    assert all("ERR_FAILED" in fault or "sendError" in fault for fault in doors.opened[-1][1].take())
    page.unroute("**/tick/")
    press_done(page)
    expect(page.get_by_role("heading", name="Look at the drained fluid")).to_be_visible()
    expect(lost).to_have_count(0)
    with running.book():
        drained = JobStep.objects.get(operation__job=came.job, position=2)
        assert [reading.typed for reading in drained.readings.all()] == ["0.8"]


def test_a_form_of_its_own_page_keeps_what_was_typed_until_the_server_answers(
    doors: Doors, running: Running, garage: Garage
) -> None:
    with running.book():
        came = visit(garage, "Nell Ashby", "OFF-713", until=stages.IN_BAY)
    page = doors.person("technician", **TABLET)
    page.goto(f"/bay/{came.job.pk}/")
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


def test_the_keyboard_opens_for_a_reading_in_another_unit(person: Person, running: Running, garage: Garage) -> None:
    with running.book():
        came = visit(garage, "Nell Ashby", "QTS-712", until=stages.IN_BAY)
    page = person("technician", **TABLET)
    page.goto(f"/bay/{came.job.pk}/")
    page.get_by_role("button", name="Confirmed").click()
    expect(box(page, "Came out, L")).to_have_attribute("inputmode", "none")  # the pad is there instead
    page.get_by_role("button", name="Other unit, fraction").tap()
    expect(box(page, "Came out, L")).to_have_attribute("inputmode", "text")
    expect(box(page, "Came out, L")).to_be_focused()
    page.keyboard.type("3/4 qt")
    press_done(page)
    page.get_by_text("2 steps before this one").tap()
    expect(page.get_by_text("Drain the fluid, 0.75 qt · 0.71 L")).to_be_visible()
