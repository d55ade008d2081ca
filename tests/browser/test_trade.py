"""What the trade knows by heart, read off the real screens. Common practice, no source, unless one is named.

That the vehicle must be level before it is filled, that the pan must hold what drains, and that 13 ft·lb are
17.6 N·m stands in test_visit.py, where a technician comes to it.
"""

import re

from playwright.sync_api import Page, expect

from jobs import stages
from tests.browser.cast import Garage
from tests.browser.conftest import TABLET, Person
from tests.browser.running import Running
from tests.browser.sentences import begin_line, box, part, settled, tap_in
from tests.browser.visits import go_on, visit


def write_down_the_oil(page: Page) -> None:
    page.goto("/shelf/")
    page.get_by_role("link", name="New item").click()
    box(page, "Name").fill("Gear oil GL-40")
    pack = page.get_by_role("group", name="Pack 1")
    box(pack, "Pack").fill("1 L bottle")
    box(pack, "Size").fill("1 L")
    box(page.get_by_role("group", name="Number 1"), "Number or name").fill("GL-40")
    box(page, "Selling price per L").fill("60.00")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Gear oil GL-40")


def receive_four_bottles_at_40(page: Page) -> None:
    page.locator("footer").get_by_role("link", name="Receive delivery").click()
    page.get_by_role("button", name="Add Gear oil GL-40, 1 L bottle").click()
    box(page, "Packs").fill("4")
    box(page, "Price a pack").fill("40.00")
    page.keyboard.press("Tab")
    expect(page.locator("footer")).to_contain_text("160.00")
    page.get_by_role("button", name="Receive delivery", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Delivery")


def put_it_on_the_sheet(page: Page, job: int) -> None:
    """2.8 L for four changes of 0.7 L each, picked from the shelf."""
    page.goto(f"/jobs/{job}/")
    operation = part(page, "Wiper blades, front")
    begin_line(operation, "Fluid")
    box(operation, "From the shelf: name, any number, old ones too").fill("gl 40")
    operation.get_by_role("link", name="Gear oil GL-40").click()
    expect(box(operation, "What")).to_have_value("Gear oil GL-40")
    settled(page)
    box(operation, "Quantity").fill("2.8")
    expect(operation.get_by_text("comes to")).to_contain_text("168.00")
    operation.get_by_role("button", name="Save line").click()
    expect(operation.get_by_role("row").filter(has_text="Gear oil GL-40")).to_contain_text("168.00")


def change(page: Page, liters: str) -> None:
    row = page.get_by_role("listitem").filter(has_text="Gear oil GL-40")
    row.get_by_role("link", name="Take from shelf").tap()
    tap_in(page, liters)
    page.get_by_role("button", name="Take from shelf").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("KET-200")


def test_fluid_is_bought_by_the_liter_used_by_the_fraction_and_asked_for_in_quarts(
    person: Person, running: Running, garage: Garage
) -> None:
    counter, tablet = person("counter"), person("technician", **TABLET)
    write_down_the_oil(counter)
    receive_four_bottles_at_40(counter)
    with running.book():
        came = visit(garage, "Wendel Osk", "KET-200", until=stages.WRITTEN_UP)
    put_it_on_the_sheet(counter, came.job.pk)
    with running.book():
        go_on(came, until=stages.IN_BAY)
    tablet.goto(f"/bay/{came.job.pk}/")
    change(tablet, "0.7")
    counter.goto("/shelf/")
    counter.get_by_role("link", name="Gear oil GL-40").click()
    shelf = counter.get_by_role("main")
    taken = part(counter, "Stock history").get_by_role("row").filter(has_text="taken from the shelf")
    expect(taken).to_contain_text("−28.00")
    expect(shelf).to_contain_text(re.compile(r"0\.300 L.*0\.317 qt"))  # left in the open bottle
    counter.get_by_text("Cost and price").click()
    expect(shelf).to_contain_text("40.00 / L")
    expect(shelf).to_contain_text("37.85 / qt")  # 40 x 0.946352946 L, NIST Handbook 44, Appendix C
    for _ in range(3):
        change(tablet, "0.7")
    row = tablet.get_by_role("listitem").filter(has_text="Gear oil GL-40")
    expect(row).to_contain_text("2.80 L")  # four changes of 0.7 L
    counter.reload()
    expect(shelf).to_contain_text(re.compile(r"On hand.*1\.200 L.*1\.268 qt"))


def test_30000_miles_less_11000_driven_leave_19000(person: Person, running: Running, garage: Garage) -> None:
    with running.book():
        came = visit(garage, "Lisbet Auer", "KET-201", until=stages.FINISHED)  # at 88,412 mi
    page = person("counter")
    page.goto(f"/vehicles/{came.vehicle.pk}/")
    expect(part(page, "Due next")).to_contain_text(re.compile(r"30,000 mi\s*remaining"))
    page.get_by_role("link", name="Record odometer").click()
    box(page, "Odometer").fill("99412")
    page.get_by_role("button", name="Record odometer").click()
    page.get_by_role("button", name="Save anyway").click()  # 11,000 miles in a day are asked about
    expect(part(page, "Due next")).to_contain_text(re.compile(r"19,000 mi\s*remaining"))
    page.goto("/counter/due/?within=all")
    expect(page.get_by_role("row").filter(has_text="KET-201")).to_contain_text("19,000 mi")
