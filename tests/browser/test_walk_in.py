"""Two blades and a quart over the counter: few clicks, no car, no bay, no name. Common practice, no source."""

import uuid
from decimal import Decimal

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from garage.clock import fixed
from invoicing.models import Invoice
from parts.actions.items import save_item
from parts.actions.receiving import opening_stock
from parts.queries import chain_on_hand
from tests.browser.cast import Garage
from tests.browser.conftest import Person
from tests.browser.running import Running
from tests.browser.sentences import box, settled

#: Counts what a finger or a mouse presses, over all pages of the browser; keys are not counted.
COUNTER = """
addEventListener("pointerdown", event => {
  if (event.isTrusted) localStorage.setItem("pressed", Number(localStorage.getItem("pressed") || 0) + 1);
}, true);
"""


@pytest.fixture(scope="module", autouse=True)
def shelf(running: Running, garage: Garage) -> None:
    """Two sizes of wiper blades, three of each."""
    with running.book():
        for size in ("18", "22"):
            who = {"actor": garage.owner, "clock": fixed(timezone.now())}
            fields = {"kind": "part", "name": f"Wiper blade {size} in", "base_unit": "each", "price": Decimal("18.50")}
            item = save_item(fields=fields, **who)  # type: ignore[arg-type]
            opening_stock(key=uuid.uuid4(), item=item, pack=None, packs=3, unit_cost=Decimal("9.40"), **who)  # type: ignore[arg-type]


def pressed(page: Page) -> int:
    return int(page.evaluate("Number(localStorage.getItem('pressed') || 0)"))


def test_two_blades_and_a_quart_in_at_most_eight_clicks(person: Person, running: Running, garage: Garage) -> None:
    page = person("counter")
    page.context.add_init_script(COUNTER)
    with running.book():
        there = chain_on_hand(garage.fluid)
    page.goto("/counter/")
    page.get_by_role("link", name="Sell parts").click()
    expect(box(page, "What is sold")).to_be_focused()
    page.keyboard.type("wiper")
    page.get_by_role("button", name="Add Wiper blade 22 in").click()
    expect(box(page, "Quantity")).to_be_focused()
    page.keyboard.press("Control+a")
    page.keyboard.type("2")
    box(page, "What is sold").click()
    settled(page)
    page.keyboard.type("transfer case fl")
    page.get_by_role("button", name="Add Transfer case fluid TC-75").click()
    expect(box(page, "Quantity").last).to_be_focused()
    page.keyboard.type("1 qt")
    page.keyboard.press("Tab")
    expect(page.locator("#sum")).to_contain_text("102.75")  # (37.00 + 57.92) × 1.0825 = 102.7509
    settled(page)
    page.get_by_label("cash").check()
    page.get_by_role("button", name="Sell", exact=True).click()
    expect(page.get_by_role("status").first).to_contain_text("Sold: invoice")
    assert pressed(page) <= 8, pressed(page)
    expect(page.get_by_role("heading", level=1)).to_contain_text("Invoice")
    with running.book():
        invoice = Invoice.objects.get(consent="sale")
        assert (invoice.gross, str(invoice.person)) == (Decimal("102.75"), "Walk-in sale")
        assert there - chain_on_hand(garage.fluid) == Decimal("0.946352946")


def test_by_the_keyboard_alone_and_what_is_not_there_is_said(person: Person, running: Running) -> None:
    page = person("counter")
    page.goto("/counter/sell/")
    page.keyboard.type("blade 18")
    page.keyboard.press("Enter")  # only one item answers to that: it is on the sheet
    expect(box(page, "Quantity")).to_be_focused()
    page.keyboard.press("Control+a")
    page.keyboard.type("4")
    page.keyboard.press("Tab")
    settled(page)
    page.get_by_label("card").focus()
    page.keyboard.press("Space")
    page.get_by_role("button", name="Sell", exact=True).press("Enter")
    expect(page.get_by_role("row").filter(has_text="Wiper blade 18")).to_contain_text("Only 3 on the shelf.")
    expect(box(page, "Quantity")).to_have_value("4")  # nothing typed is lost
    expect(page.get_by_label("card")).to_be_checked()
    box(page, "Quantity").fill("3")
    page.keyboard.press("Tab")
    settled(page)
    page.get_by_role("button", name="Sell", exact=True).press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Invoice")


def test_two_taps_on_sell_make_one_sale(person: Person, running: Running) -> None:
    page = person("counter")
    page.goto("/counter/sell/")
    page.keyboard.type("blade 22")
    page.keyboard.press("Enter")
    page.get_by_label("cash").check()
    with running.book():
        before = Invoice.objects.count()
    page.get_by_role("button", name="Sell", exact=True).dblclick()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Invoice")
    with running.book():
        assert Invoice.objects.count() == before + 1
