"""Pieces of pages: htmx gets a piece that fits its place, and whoever opens the same address in a tab gets a page.

Every address of the resolver is asked for both ways, and every hx-get and hx-post of what came back once more.
"""

import datetime as dt
import re
from collections.abc import Iterator
from dataclasses import dataclass
from html.parser import HTMLParser

from django.db import transaction
from django.http.response import HttpResponseBase
from django.test import Client, TestCase

from tests import world
from tests.test_urls import begin_numbering, client_of, html_of
from tests.urls import addresses

PLAIN: dict[str, str] = {}
HTMX = {"HX-Request": "true"}
SHOWN = {200, 405, 422}  #: what a browser shows, and of that (all but 405) what htmx puts in place


@dataclass(frozen=True)
class Ask:
    """One element that asks for a piece, and where it puts it."""

    method: str
    url: str
    target: str
    swap: str
    select: str


class Elements(HTMLParser):
    """Collects the elements of a page that ask for pieces; a target may stand on an element around them."""

    EMPTY = {"area", "base", "br", "col", "hr", "img", "input", "link", "meta", "wbr"}

    def __init__(self, html: str) -> None:
        super().__init__()
        self.asks: set[Ask] = set()
        self._targets = [""]
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        target = given.get("hx-target", self._targets[-1])
        for method in ("get", "post"):
            if url := given.get(f"hx-{method}"):
                if tag == "form" and method == "get":
                    url += "?q=a"  # a search always sends what was typed
                swap = given.get("hx-swap", "innerHTML").split()[0]
                self.asks.add(Ask(method, url, target, swap, given.get("hx-select", "")))
        if tag not in self.EMPTY:
            self._targets.append(target)

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.EMPTY and len(self._targets) > 1:
            self._targets.pop()


class Pieces(TestCase):
    """One garage for all of these tests, seen by its owner."""

    client_of_owner: Client

    @classmethod
    def setUpClass(cls) -> None:
        super().setUpClass()
        begin_numbering()
        people = world.make(dt.datetime(2026, 3, 2, 12, tzinfo=dt.UTC))
        cls.client_of_owner = client_of(people["owner"])

    def ask(self, method: str, url: str, headers: dict[str, str]) -> HttpResponseBase:
        """The answer; what it wrote is taken back, a log-out too."""
        client = self.client_of_owner
        session = client.cookies["sessionid"].value
        with transaction.atomic():
            answer = client.get(url, headers=headers) if method == "get" else client.post(url, {}, headers=headers)
            transaction.set_rollback(True)
        client.cookies["sessionid"] = session
        return answer

    def asks(self) -> Iterator[tuple[str, Ask]]:
        """What the pages and pieces of every address ask for, each once."""
        seen: set[Ask] = set()
        for one in addresses():
            for headers in (PLAIN, HTMX):
                for ask in sorted(Elements(html_of(self.ask("get", one.url, headers))).asks - seen, key=str):
                    seen.add(ask)
                    yield one.name, ask

    def test_whoever_opens_an_address_in_a_tab_gets_a_whole_page_or_is_led_to_one(self) -> None:
        bare = {}
        for one in addresses():
            for method in ("get", "post"):
                answer = self.ask(method, one.url, PLAIN)
                html = html_of(answer)
                if answer.status_code in SHOWN and html and len(re.findall(r"<main[ >]", html)) != 1:
                    bare[one.name, method] = html[:80]
        assert bare == {}

    def test_a_piece_asked_for_as_a_page_leads_to_the_page_it_belongs_to(self) -> None:
        led = {}
        for one in (one for one in addresses() if one.piece):
            answer = self.ask("get", one.url, PLAIN)
            assert answer.status_code == 302, one.name
            led[one.name] = answer["Location"]
            assert "<main" in html_of(self.ask("get", answer["Location"], PLAIN)) or one.name == "document-status"
            piece = self.ask("get", one.url, HTMX)
            assert piece.status_code == 404 or "<main" not in html_of(piece), one.name  # htmx puts a 404 nowhere
        assert led["jobs:foot"] == led["jobs:papers"] == "/jobs/1/"
        assert len(led) == 10

    def test_what_htmx_asks_for_fits_into_the_place_it_is_for(self) -> None:
        """No page within a page, and no place within itself."""
        nested, asked = {}, 0
        for name, ask in self.asks():
            answer = self.ask(ask.method, ask.url, {**HTMX, "HX-Target": ask.target.strip("#")})
            if answer.status_code not in (200, 422) or ask.select:
                continue
            asked += 1
            html = html_of(answer)
            within = ask.swap == "innerHTML" and ask.target.startswith("#") and f'id="{ask.target[1:]}"' in html
            if "<main" in html or within:
                nested[name, ask] = html[:80]
        assert nested == {}
        assert asked > 30
