"""The telephone in one hand: the amounts to read out follow the marks in a real browser, and are what is kept."""

import re
from decimal import Decimal

from playwright.sync_api import Locator, Page, expect

from jobs import stages
from tests.browser import axe
from tests.browser.cast import Garage
from tests.browser.conftest import Person
from tests.browser.running import Running
from tests.browser.sentences import box
from tests.browser.visits import visit

BLADES = "Wiper blades, front"


def row(page: Page, operation: str) -> Locator:
    return page.locator(".decisions > li").filter(has_text=operation)


def mark(page: Page, operation: str, answer: str) -> None:
    row(page, operation).get_by_role("radio", name=answer, exact=True).check()


def test_the_amounts_follow_each_mark(person: Person, running: Running, garage: Garage) -> None:
    # The fluid: 153.60 labor, 52.02 and 5.00; the blades: 29.00. 8.25 % of 57.02 and of 29.00 are 4.70415 and 2.3925:
    # alone 4.70 and 2.39, together 7.09665, so 7.10, and the missing cent goes to the larger rest (by hand).
    with running.book():
        job = visit(garage, "Ilka Renn", "LIV-031", until=stages.AWAITING).job
    fluid, page = garage.procedure.title, person("counter")
    page.goto(f"/jobs/{job.pk}/authorize/")
    total = page.locator("#read-out-total")
    expect(total).to_contain_text("Offered, with tax$246.72")
    mark(page, BLADES, "authorized")
    expect(total).to_contain_text("To read out, with tax$31.39")
    expect(row(page, BLADES)).to_contain_text("$31.39 with tax $29.00 + $2.39 tax")
    expect(row(page, fluid)).to_contain_text("A yes adds $215.33 with tax")
    expect(row(page, BLADES).get_by_role("radio", name="authorized", exact=True)).to_be_focused()
    box(page, "Given by").select_option("Ilka Renn")
    mark(page, fluid, "authorized")
    expect(total).to_contain_text("$246.72")
    expect(row(page, fluid)).to_contain_text("$215.33 with tax $210.62 + $4.71 tax")
    mark(page, BLADES, "declined")
    expect(total).to_contain_text("$215.32")
    expect(row(page, fluid)).to_contain_text("$215.32 with tax $210.62 + $4.70 tax")
    expect(row(page, BLADES)).to_contain_text("$29.00 before tax, not in the total")
    expect(box(page, "Given by")).to_have_value("Ilka Renn")  # what was typed stays where it is
    assert not axe.violations(page)
    box(page, "How").select_option("by telephone")
    box(page, "Number or address used").fill("555-0142")
    box(page, "Up to, before tax").fill("210.62")
    page.get_by_role("button", name="Save authorization").click()
    expect(page).to_have_url(re.compile(f"/jobs/{job.pk}/$"))  # the form itself has the words too
    expect(page.get_by_role("main")).to_contain_text("by telephone")
    with running.book():
        assert job.authorizations.get().limit_gross == Decimal("215.32")
