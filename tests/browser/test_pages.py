"""Every main page by everybody's eyes: axe, narrow screens, gloves, and the keyboard alone."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser import axe
from tests.browser.cast import Garage
from tests.browser.conftest import Person
from tests.browser.measuring import focus, past_the_edge, small_targets
from tests.browser.pages import PAGES, Shown, fill
from tests.browser.running import Running

WIDTHS, SCHEMES = (320, 820, 1280), ("light", "dark")
GRID = [(width, scheme) for scheme in SCHEMES for width in WIDTHS]
#: Each page at one size and scheme of the grid, in turn: every combination is met by many pages.
SAMPLE = [(page, *GRID[at % len(GRID)]) for at, page in enumerate(PAGES)]
GLOVE = 56  # pixels: what a glove hits


@pytest.fixture(scope="session")
def shown(garage: Garage, running: Running) -> Shown:
    """A garage on an ordinary day."""
    with running.book():
        return fill(garage)


@pytest.fixture
def at(person: Person, visitor: Callable[..., Page], shown: Shown) -> Callable[..., Page]:
    """`at("bay", 820, "dark")` is that page at that width and scheme, by the role that works with it."""

    def go(name: str, width: int = 1280, scheme: str = "light") -> Page:
        role, options = PAGES[name][0], {"viewport": {"width": width, "height": 900}, "color_scheme": scheme}
        page = person(role, **options) if role else visitor("somebody", **options)
        answer = page.goto(shown.path(name))
        assert answer is not None and answer.status == 200
        return page

    return go


@pytest.mark.parametrize(("name", "width", "scheme"), SAMPLE)
def test_anybody_can_read_and_use_the_page(at: Callable[..., Page], name: str, width: int, scheme: str) -> None:
    """WCAG 2.2 AA as far as axe-core can tell; reflow (1.4.10) at 320 px."""
    page = at(name, width, scheme)
    assert not axe.violations(page)
    page.set_viewport_size({"width": 320, "height": 700})
    assert not past_the_edge(page)


@pytest.mark.prove
@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_anybody_can_read_and_use_every_page_at_every_size(
    at: Callable[..., Page], name: str, width: int, scheme: str
) -> None:
    page = at(name, width, scheme)
    assert not axe.violations(page)
    assert not past_the_edge(page)


@pytest.mark.parametrize("name", [name for name, (role, _, _) in PAGES.items() if role == "technician"])
def test_a_glove_hits_every_target_of_the_bay(at: Callable[..., Page], name: str) -> None:
    page = at(name, 820)
    assert not small_targets(page, GLOVE)
    page.set_viewport_size({"width": 360, "height": 740})
    assert not small_targets(page, GLOVE)


#: Where the keyboard leads on some main pages: the words of the act that is pressed most.
MAIN_ACTS = {
    "counter": "New visit",
    "new visit": "Open the job",
    "job sheet": "Add an operation",
    "customer": "New visit",
    "bay job": "Finish",
}


@pytest.mark.parametrize(("name", "words"), MAIN_ACTS.items())
def test_the_keyboard_alone_reaches_the_main_act_and_shows_where_it_is(
    at: Callable[..., Page], name: str, words: str
) -> None:
    page = at(name)
    page.locator("h1").click()
    page.keyboard.press("/")
    expect(page.get_by_role("searchbox", name="Find", exact=True)).to_be_focused()
    seen = []
    while words not in seen:
        page.keyboard.press("Tab")
        here = focus(page)
        assert here["tag"] != "BODY", f"the keyboard left the page without passing “{words}”: {seen}"
        assert here["outline"] >= 2, f"nothing shows that “{here['words']}” has the focus"
        seen.append(here["words"])


def test_a_log_in_that_fails_says_so_and_keeps_the_name(visitor: Callable[..., Page], garage: Garage) -> None:
    page = visitor("somebody")
    page.goto("/login/")
    page.get_by_label("Username").fill(garage.logins["counter"])
    page.get_by_label("Password").fill("not the password")
    page.get_by_role("button", name="Log in").click()
    expect(page.get_by_role("alert")).to_contain_text("do not go together")
    expect(page.get_by_label("Username")).to_have_value(garage.logins["counter"])
    assert not axe.violations(page)
