"""Every main page by everybody's eyes: axe, narrow screens, gloves, and the keyboard alone."""

import re
from collections.abc import Callable, Iterator
from typing import Literal

import pytest
from playwright.sync_api import Page, expect

from tests.browser import axe
from tests.browser.cast import Garage
from tests.browser.conftest import FAILED, Doors
from tests.browser.measuring import first_lines, focus, past_the_edge, same_names, small_targets
from tests.browser.pages import PAGES, Shown, fill
from tests.browser.running import Running

At = Callable[..., Page]
Scheme = Literal["light", "dark"]
WIDTHS: tuple[int, ...] = (320, 820, 1280)
SCHEMES: tuple[Scheme, ...] = ("light", "dark")
GRID = [(width, scheme) for scheme in SCHEMES for width in WIDTHS]
#: Each page at one size and scheme of the grid, in turn: every combination is met by many pages.
SAMPLE = [(page, *GRID[at % len(GRID)]) for at, page in enumerate(PAGES)]
GLOVE = 56  # pixels: what a glove hits


@pytest.fixture(scope="module")
def shown(garage: Garage, running: Running) -> Shown:
    """A garage on an ordinary day."""
    with running.book():
        return fill(garage)


@pytest.fixture(scope="module")
def seats(house: Doors) -> dict[str, Page]:
    """A page for each role, in turn at every size."""
    return {role: house.person(role) if role else house.visitor() for role in {row[0] for row in PAGES.values()}}


@pytest.fixture
def at(request: pytest.FixtureRequest, house: Doors, seats: dict[str, Page], shown: Shown) -> Iterator[At]:
    """`at("bay", 820, "dark")` is that page at that width and scheme, by the role that works with it."""

    def go(name: str, width: int = 1280, scheme: Scheme = "light") -> Page:
        page = seats[PAGES[name][0]]
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(color_scheme=scheme)
        answer = page.goto(shown.path(name))
        assert answer is not None and answer.status == 200
        return page

    yield go
    if request.node.stash.get(FAILED, False):
        house.keep_pictures(request.node.name)
    house.check()


@pytest.mark.parametrize(("name", "width", "scheme"), SAMPLE)
def test_anybody_can_read_and_use_the_page(at: At, name: str, width: int, scheme: Scheme) -> None:
    """WCAG 2.2 AA as far as axe-core can tell; reflow (1.4.10) at 320 px."""
    page = at(name, width, scheme)
    assert not axe.violations(page)
    page.set_viewport_size({"width": 320, "height": 700})
    assert not past_the_edge(page)


@pytest.mark.prove
@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_anybody_can_read_and_use_every_page_at_every_size(at: At, name: str, width: int, scheme: Scheme) -> None:
    page = at(name, width, scheme)
    assert not axe.violations(page)
    assert not past_the_edge(page)


#: Lists whose rows say what and how much; each is a table that a phone shows in rows of two lines.
LISTS = ("shelf", "movements", "books", "invoices", "payments", "containers", "job sheet")


@pytest.mark.parametrize("name", LISTS)
def test_a_phone_shows_a_table_in_rows_with_their_figure_at_the_edge(at: At, name: str) -> None:
    page = at(name, 360)
    assert not past_the_edge(page)
    expect(page.get_by_role("columnheader").first).to_be_attached()  # a reader still hears the headings
    rows = first_lines(page)
    assert rows, "nothing to look at"
    for row in rows:
        assert abs(row["figure_top"] - row["words_top"]) < 6, f"not on the first line: {row}"
        assert row["words_end"] <= row["figure_start"] + 1, f"one lies on the other: {row}"
        assert abs(row["figure_end"] - row["edge"]) < 1, f"not at the edge: {row}"


def test_a_procedure_is_read_over_the_whole_width_of_a_phone(at: At) -> None:
    page = at("procedure", 360)
    assert not past_the_edge(page)
    step = page.get_by_role("listitem").filter(has_text="Tighten the drain plug").first
    inside, words = step.bounding_box(), step.locator(".more").bounding_box()
    assert inside is not None
    assert words is not None
    assert words["width"] > 0.9 * inside["width"]
    expect(step).to_contain_text(re.compile(r"13 ft·lb.*Threads in aluminum strip past the number", re.DOTALL))


@pytest.mark.parametrize("name", PAGES)
def test_no_two_targets_of_a_page_have_one_name(at: At, name: str) -> None:
    """Heard one by one, each says what it belongs to: “Take from shelf: Oil filter”."""
    assert not same_names(at(name))


@pytest.mark.parametrize("name", [name for name, (role, _, _) in PAGES.items() if role == "technician"])
def test_a_glove_hits_every_target_of_the_bay(at: At, name: str) -> None:
    page = at(name, 820)
    assert not small_targets(page, GLOVE)
    page.set_viewport_size({"width": 360, "height": 740})
    assert not small_targets(page, GLOVE)


#: Where the keyboard leads on some main pages: the words of the act that is pressed most.
MAIN_ACTS = {
    "counter": "New visit",
    "new visit": "Check in",
    "job sheet": "Add operation",
    "customer": "New visit",
    "bay job": "Finish job",
}


@pytest.mark.parametrize(("name", "words"), MAIN_ACTS.items())
def test_the_keyboard_alone_reaches_the_main_act_and_shows_where_it_is(at: At, name: str, words: str) -> None:
    page = at(name)
    page.locator("h1").click()
    page.keyboard.press("/")
    expect(page.get_by_role("searchbox", name="Find", exact=True)).to_be_focused()
    seen: list[str] = []
    while words not in seen:
        page.keyboard.press("Tab")
        here = focus(page)
        assert here["tag"] != "BODY", f"the keyboard left the page without passing “{words}”: {seen}"
        assert here["outline"] >= 2, f"nothing shows that “{here['words']}” has the focus"
        seen.append(here["words"].partition("\n")[0])  # below it stands its key


def test_a_log_in_that_fails_says_so_and_keeps_the_name(doors: Doors, garage: Garage) -> None:
    page = doors.visitor()
    page.goto("/login/")
    page.get_by_label("Login name").fill(garage.logins["counter"])
    page.get_by_label("Password").fill("not the password")
    page.get_by_role("button", name="Log in").click()
    expect(page.get_by_role("alert")).to_contain_text("do not go together")
    expect(page.get_by_label("Login name")).to_have_value(garage.logins["counter"])
    assert not axe.violations(page)
