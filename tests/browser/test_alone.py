"""A form of the job sheet opened in a tab of its own: there is no sheet around it, and it works all the same."""

from playwright.sync_api import expect

from jobs import stages
from tests.browser.cast import Garage
from tests.browser.conftest import Person
from tests.browser.running import Running
from tests.browser.sentences import box
from tests.browser.visits import visit


def test_a_line_written_in_a_tab_of_its_own_reaches_the_sheet(person: Person, running: Running, garage: Garage) -> None:
    with running.book():
        came = visit(garage, "Nell Ashby", "TAB-601", until=stages.WRITTEN_UP)
        operation = came.job.operations.get(title="Wiper blades, front")
    page = person("counter")
    page.goto(f"/operations/{operation.pk}/lines/new/")
    page.get_by_role("link", name="Charge").click()
    box(page, "What").fill("Fitting")
    box(page, "Quantity").fill("two")
    box(page, "Unit price").fill("4.00")
    page.get_by_role("button", name="Save line").click()
    expect(page.get_by_role("alert")).to_contain_text("“two” is not understood")
    expect(box(page, "What")).to_have_value("Fitting")  # nothing typed is lost
    box(page, "Quantity").fill("2")
    page.get_by_role("button", name="Save line").click()
    expect(page.get_by_role("row").filter(has_text="Fitting")).to_contain_text("8.00")


def test_what_is_found_on_the_shelf_there_can_be_picked(person: Person, running: Running, garage: Garage) -> None:
    """It is found by htmx, and its place on the sheet is missing: the link is a plain one."""
    with running.book():
        came = visit(garage, "Nell Ashby", "TAB-603", until=stages.WRITTEN_UP)
        operation = came.job.operations.get(title="Wiper blades, front")
    page = person("counter")
    page.goto(f"/operations/{operation.pk}/lines/new/")
    box(page, "From the shelf: name, any number, old ones too").press_sequentially("sealing")
    page.get_by_role("link", name="Sealing washer 10 mm").click()
    expect(box(page, "What")).to_have_value("Sealing washer 10 mm")
    expect(page.get_by_role("main")).to_have_count(1)


def test_a_search_for_the_item_that_replaces_another_stays_one_page(person: Person, garage: Garage) -> None:
    page = person("counter")
    page.goto(f"/shelf/items/{garage.fluid.pk}/replaced/")
    box(page, "The item that replaces it: name, brand, any number").press_sequentially("zzz")
    expect(page.get_by_text("Nothing on the shelf is called “zzz”.")).to_be_visible()
    expect(page.get_by_role("main")).to_have_count(1)
    expect(page.get_by_role("searchbox", name="The item that replaces it")).to_have_count(1)


def test_the_way_back_from_there_is_the_sheet(person: Person, running: Running, garage: Garage) -> None:
    with running.book():
        came = visit(garage, "Nell Ashby", "TAB-602", until=stages.WRITTEN_UP)
        operation = came.job.operations.get(title="Wiper blades, front")
    page = person("counter")
    page.goto(f"/operations/{operation.pk}/edit/")
    page.get_by_role("link", name="Cancel").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(f"Job {came.job.number}")
