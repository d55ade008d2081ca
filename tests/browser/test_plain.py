"""The day when a browser runs no script: every act of a visit is a plain form that is sent and answered by a page."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import TABLET, Person
from tests.browser.sentences import box, confirm, part

PLAIN = {"java_script_enabled": False}
PLATE = "OLD-486"


def take_in(page: Page) -> None:
    page.goto("/counter/")
    page.get_by_role("link", name="New visit").click()
    box(page, "Name").fill("Hanne Brook")
    box(page, "Phone").fill("555-0107")
    box(page, "Plate").fill(PLATE)
    box(page, "Make").fill("Brannock")
    box(page, "Model").fill("Fell 2.4")
    page.get_by_role("button", name="Check in").last.click()
    expect(page.get_by_role("alert")).to_contain_text("Concern")  # nothing that was typed is lost
    expect(box(page, "Name")).to_have_value("Hanne Brook")
    box(page, "Concern").fill("Drips on the floor.")
    box(page, "Odometer").fill("120300")
    page.get_by_role("button", name="Check in").last.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Brannock Fell 2.4")


def write_up(page: Page) -> None:
    page.get_by_role("link", name="Add operation").click()
    offered = page.get_by_role("listitem").filter(has_text="Transfer case fluid, change")
    offered.get_by_role("button", name="Add").click()
    page.get_by_role("link", name="Labor", exact=True).click()
    box(page, "Hours").fill("1.5")
    page.get_by_role("button", name="Save line").click()
    expect(page.get_by_role("row").filter(has_text="Labor")).to_contain_text("192.00")  # 1.5 h at 128.00


def authorize(page: Page) -> None:
    page.get_by_role("button", name="Write estimate").click()
    page.get_by_role("link", name="Record authorization").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Record authorization")  # all() waits for nothing
    for said in page.get_by_role("radio", name="authorized", exact=True).all():
        said.check()
    box(page, "Given by").select_option("Hanne Brook")
    box(page, "How").select_option("in person")
    box(page, "Up to, before tax").fill("249.02")
    page.get_by_role("button", name="Save authorization").click()
    expect(page.get_by_text(re.compile("^authorized"))).to_be_visible()


def work(page: Page) -> None:
    page.goto("/bay/")
    page.get_by_role("listitem").filter(has_text=PLATE).get_by_role("button", name="Start work").click()
    confirm(page)
    box(page, "Came out, L").fill("0.8")
    page.get_by_role("button", name="Done", exact=True).click()
    seen = {"Color": "amber", "Clarity": "clear", "Particles": "none", "Smell": "as usual"}
    for sign, words in seen.items():
        page.get_by_role("group", name=sign).get_by_label(words, exact=True).check()
    page.get_by_role("button", name="Done", exact=True).click()
    box(page, "Torque, ft·lb").fill("13")
    page.get_by_role("button", name="Done", exact=True).click()
    confirm(page)
    box(page, "Filled in, L").fill("0.85")
    page.get_by_role("button", name="Done", exact=True).click()
    box(page, "Torque, ft·lb").fill("13")
    page.get_by_role("button", name="Done", exact=True).click()
    page.get_by_role("link", name="Finish job").click()
    page.get_by_label("I took the final look.").check()
    page.get_by_role("textbox", name="Odometer").fill("120302")
    page.get_by_role("button", name="Finish job").click()
    expect(page.get_by_role("status")).to_contain_text("is finished")


def bill(page: Page) -> None:
    page.goto(f"/counter/?q={PLATE}")
    page.get_by_role("link", name=re.compile("^Job ")).click()
    page.get_by_role("link", name="Make invoice").click()
    page.get_by_role("button", name="Issue invoice").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Invoice")
    # 192.00 + 52.02 + 5.00, and 8.25 % of 57.02
    expect(part(page, "Transfer case fluid, change")).to_contain_text("249.02")
    expect(page.get_by_role("main")).to_contain_text("253.72 owed")


@pytest.mark.timeout(300)
def test_a_visit_works_without_javascript(person: Person) -> None:
    counter, tablet = person("counter", **PLAIN), person("technician", **TABLET, **PLAIN)
    take_in(counter)
    write_up(counter)
    authorize(counter)
    work(tablet)
    bill(counter)
