"""Short ways to say what a person does on a page."""

import re

from playwright.sync_api import Locator, Page, expect


def box(page: Page | Locator, label: str) -> Locator:
    """The field under a label, optional or not; what is folded away is none."""
    return page.get_by_label(re.compile(rf"^{re.escape(label)}( optional)?$")).locator("visible=true")


def part(page: Page, heading: str) -> Locator:
    """The section of a sheet under a heading."""
    return page.locator("section").filter(has=page.get_by_role("heading", name=heading))


def tap_in(page: Page, number: str) -> None:
    """Type a number on the bay's pad, with a thumb."""
    pad = page.get_by_role("group", name="Number pad")
    for digit in number:
        pad.get_by_role("button", name="Decimal point" if digit == "." else digit, exact=True).tap()


def press_done(page: Page, act: str = "Done") -> None:
    """Press the open step's one big act, which also says what it records: “Done, 13 ft·lb”."""
    page.locator("[aria-current=step]").get_by_role("button", name=re.compile(rf"^{act}(,|$)")).tap()


def confirm(page: Page, *, tap: bool = False) -> None:
    """Confirm a hold point: the first tap opens the second button, below it."""
    first = page.locator("summary", has_text="Confirm step")
    second = page.get_by_role("button", name="Yes, I checked it")
    steady(page)
    for target in (first, second):
        target.tap() if tap else target.click()


def steady(page: Page) -> None:
    """Wait until the open step's acts can be pressed: one that has just come lets a second tap or a held key pass."""
    page.wait_for_load_state("domcontentloaded")  # the script that lets it wait has run
    expect(page.locator("#open-step")).to_be_visible()
    expect(page.locator("#open-step [aria-disabled]")).to_have_count(0)


def settled(page: Page) -> None:
    """Wait until htmx has put an answer in its place and listens to it: a person's hand is slower than a test's."""
    expect(page.locator(".htmx-request, .htmx-swapping, .htmx-settling, .htmx-added")).to_have_count(0)


def begin_line(operation: Locator, kind: str) -> None:
    """Open the form for a new line of a kind, on the sheet itself."""
    operation.get_by_role("link", name="Add line").click()
    kinds = operation.get_by_role("navigation", name="Kinds of line")
    if kind not in kinds.locator("[aria-current]").inner_text():
        kinds.get_by_role("link", name=kind).click()
    expect(kinds.locator("[aria-current]")).to_have_text(kind)
    settled(operation.page)
