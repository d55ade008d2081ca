"""Real Chromium on the real program: three people of a garage, each with a browser of their own that is watched.

A missing Chromium fails; it is never skipped. CHROMIUM names another binary.
"""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, StorageState, expect, sync_playwright
from pytest_django.plugin import DjangoDbBlocker

from tests.browser.cast import PASSWORD, Garage, open_garage
from tests.browser.running import Book, Running
from tests.browser.watching import Watch

#: The same names as in bin/install.
CHROMIUM = os.environ.get("CHROMIUM") or "chromium chromium-browser google-chrome"
ARGUMENTS = [
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",  # the watch says who asked for another host
]
OUTPUT = Path(__file__).parent / "output"
DESK: dict[str, Any] = {"viewport": {"width": 1280, "height": 900}}
#: The tablet of the bay, upright.
TABLET: dict[str, Any] = {"viewport": {"width": 820, "height": 1180}, "has_touch": True}
FAILED = pytest.StashKey[bool]()

Person = Callable[..., Page]
#: The sessions of those who have logged in, by role.
Keys = dict[str, StorageState]


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Iterator[None]:
    report = yield
    if report.when == "call":  # type: ignore[attr-defined]
        item.stash[FAILED] = report.failed  # type: ignore[attr-defined]
    return report


@pytest.fixture(scope="session")
def original(tmp_path_factory: pytest.TempPathFactory, django_db_blocker: DjangoDbBlocker) -> Iterator[Book]:
    """The garage's book. Nobody serves it: each file of tests gets a copy, so none meets what another one wrote."""
    book = Book(tmp_path_factory.mktemp("garage"), django_db_blocker)
    try:
        yield book
    finally:
        book.close()


@pytest.fixture(scope="session")
def garage(original: Book) -> Garage:
    """A garage with its people, its taxes, a stocked shelf and a procedure, made by the program's own verbs."""
    with original.book():
        return open_garage()


@pytest.fixture(scope="module")
def running(original: Book, garage: Garage, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """The program, served to one file of tests."""
    program = Running(tmp_path_factory.mktemp("browser"), original)
    try:
        yield program
    finally:
        program.close()


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """One browser for a file of tests: its event loop must not stay in the way of other tests."""
    binary = next(filter(None, map(shutil.which, CHROMIUM.split())), None)
    assert binary is not None, f"no Chromium ({CHROMIUM}): bin/install test, or set CHROMIUM"
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"  # Playwright's loop runs in this thread, the verbs do too
    try:
        expect.set_options(timeout=15_000)  # a busy runner is slow; what is there sooner is seen sooner
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=binary, args=ARGUMENTS)
            yield browser
            browser.close()
    finally:
        del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


@pytest.fixture(scope="module")
def keys() -> Keys:
    """One login a file is enough."""
    return {}


class Doors:
    """Opens browsers that are watched, for people with and without a login."""

    def __init__(self, chromium: Browser, running: Running, logins: dict[str, str], keys: Keys) -> None:
        self.chromium, self.running, self.logins, self.keys = chromium, running, logins, keys
        self.opened: list[tuple[BrowserContext, Watch]] = []

    def visitor(self, who: str = "somebody", **options: Any) -> Page:
        """A page of a browser that nobody is logged in to."""
        context = self.chromium.new_context(**{"base_url": self.running.url, "locale": "en-US", **DESK, **options})
        context.set_default_timeout(10_000)
        self.opened.append((context, Watch(context, who)))
        return context.new_page()

    def person(self, role: str, **options: Any) -> Page:
        """A page of somebody of that role, logged in through the log-in page."""
        if role not in self.keys:
            self.keys[role] = _log_in(self.visitor(role), self.logins[role])
        return self.visitor(role, storage_state=self.keys[role], **options)

    def check(self) -> None:
        """Fail with the faults that were seen since the last time."""
        faults = [fault for _context, watch in self.opened for fault in watch.take()]
        assert not faults, "\n".join([*faults, "The server's last words:", self.running.last_words()])

    def keep_pictures(self, test: str) -> None:
        """Leave a picture of every page where a person can look at it."""
        OUTPUT.mkdir(exist_ok=True)
        for context, watch in self.opened:
            for at, page in enumerate(context.pages):
                page.screenshot(path=OUTPUT / f"{test}-{watch.who}-{at}.png".replace("/", "_"), full_page=True)

    def close(self) -> None:
        for context, _watch in self.opened:
            context.close()


@pytest.fixture(scope="module")
def house(chromium: Browser, running: Running, garage: Garage, keys: Keys) -> Iterator[Doors]:
    """Browsers that stay open for a whole file: their caches are warm."""
    doors = Doors(chromium, running, garage.logins, keys)
    yield doors
    doors.close()


@pytest.fixture
def doors(
    request: pytest.FixtureRequest, chromium: Browser, running: Running, garage: Garage, keys: Keys
) -> Iterator[Doors]:
    """Browsers of one test."""
    doors = Doors(chromium, running, garage.logins, keys)
    yield doors
    if request.node.stash.get(FAILED, False):
        doors.keep_pictures(request.node.name)
    doors.close()
    doors.check()


@pytest.fixture
def person(doors: Doors) -> Person:
    """`person("technician", **TABLET)` is a page of that role, logged in."""
    return doors.person


def _log_in(page: Page, username: str) -> StorageState:
    page.goto("/login/")
    page.get_by_label("Login name").fill(username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url(lambda url: "/login/" not in url)
    return page.context.storage_state()
