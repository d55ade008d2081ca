"""One car's whole visit by three people: the counter, the technician on the bay's tablet, and the books.

Every sum below is worked out by hand; it must stand on the screen, in the PDF and in the mail alike.
"""

import re
from io import BytesIO

import pytest
from PIL import Image
from playwright.sync_api import FilePayload, Locator, Page, expect

from tests.browser import axe
from tests.browser.cast import Garage
from tests.browser.conftest import TABLET, Person
from tests.browser.running import Running

CUSTOMER, CONCERN = "Odile Marrant", "Whines when cold, worse uphill."


def photo() -> FilePayload:
    """What a phone gives: a picture of the scratch."""
    picture = BytesIO()
    Image.new("RGB", (640, 480), "#778").save(picture, "JPEG")
    return {"name": "scratch.jpg", "mimeType": "image/jpeg", "buffer": picture.getvalue()}


def box(page: Page | Locator, label: str) -> Locator:
    """The field under a label, optional or not."""
    return page.get_by_label(re.compile(rf"^{re.escape(label)}( optional)?$"))


def take_in(page: Page) -> None:
    page.goto("/counter/")
    page.get_by_role("link", name="New visit").click()
    box(page, "Name").fill(CUSTOMER)
    box(page, "Phone").fill("555-0101")
    box(page, "Email").fill("odile@example.com")
    box(page, "Plate").fill("KET-118")
    box(page, "Make").fill("Brannock")
    box(page, "Model").fill("Fell 2.4")
    box(page, "Model year").fill("2016")
    box(page, "Concern").fill(CONCERN)
    box(page, "Odometer").fill("88410")
    box(page, "Key tag").fill("7")
    box(page, "Where the car stands").fill("yard 3")
    box(page, "Already scratched or broken").fill("Scratch on the left rear door.")
    box(page, "Photos at drop-off").set_input_files(photo())
    page.get_by_role("button", name="Open the job").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Brannock Fell 2.4")
    expect(page.get_by_text(CONCERN)).to_be_visible()
    expect(page.get_by_role("img", name="Photo of the car")).to_be_visible()
    for fact in ("88,410 mi in", "yard 3", "555-0101"):
        expect(page.get_by_role("main")).to_contain_text(fact)


def write_up(page: Page) -> None:
    page.get_by_role("link", name="Add an operation").click()
    offered = page.get_by_role("listitem").filter(has_text="Transfer case fluid, change")
    expect(offered).to_contain_text("for this vehicle")
    offered.get_by_role("button", name="Add").click()
    first = page.get_by_role("region", name="Transfer case fluid, change")
    fluid = page.get_by_role("row").filter(has_text="Transfer case fluid TC-75")
    expect(fluid).to_contain_text("0.850 L")
    expect(fluid).to_contain_text("0.898 qt")
    expect(fluid).to_contain_text("52.02")
    page.get_by_role("link", name="Add an operation").click()
    box(page, "Title").fill("Wiper blades, front")
    page.get_by_role("button", name="Add").last.click()
    wipers = page.locator("section").filter(has=page.get_by_role("heading", name="Wiper blades, front"))
    add_line(wipers, "Part", "Wiper blade, 22 in", "2", "14.50", comes_to="29.00")
    add_line(wipers, "Labor", "Fitting", "0.2", "128.00", comes_to="25.60")
    assert not axe.violations(page)
    print(page.locator("main").aria_snapshot())


def add_line(operation: Locator, kind: str, what: str, quantity: str, price: str, *, comes_to: str) -> None:
    operation.get_by_role("link", name="Add a line").click()
    operation.get_by_role("navigation", name="Kind of line").get_by_role("link", name=kind).click()
    box(operation, "Description").fill(what)
    box(operation, "Quantity").fill(quantity)
    box(operation, "Unit price").fill(price)
    expect(operation.get_by_text("comes to")).to_contain_text(comes_to)  # before anything is saved
    operation.get_by_role("button", name="Save the line").click()
    expect(operation.get_by_role("row").filter(has_text=what)).to_contain_text(comes_to)


@pytest.mark.timeout(300)
def test_a_visit_from_the_key_to_the_money(person: Person, running: Running, garage: Garage) -> None:
    counter = person("counter")
    take_in(counter)
    write_up(counter)
