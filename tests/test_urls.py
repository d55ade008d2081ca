"""Every address of the resolver, asked for by everybody in a garage with a row of everything.

Who is let in, that nothing breaks, that asking changes nothing, that every page has a name and the strict headers.
The numbers in brackets are requirements of OWASP ASVS 5.0. Each answer is taken back before the next question.
"""

import datetime as dt
import os
import re
from dataclasses import replace
from html import escape, unescape
from pathlib import Path
from urllib.parse import urlencode

import pytest
from django.apps import apps
from django.core.management.color import no_style
from django.db import connection, transaction
from django.db.models import BigAutoField
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.test import Client, TestCase
from django.test.utils import CaptureQueriesContext

from garage import database
from garage.models import User
from tests import world
from tests.retired import retired_in
from tests.urls import ASKED_WITH_MORE, NOTHING_TO_SEE, PUBLIC, Address, addresses, role_table
from tests.visible import bare_limits

TABLE = Path(__file__).parent / "roles.csv"
EVERY = addresses()
BY_NAME = pytest.mark.parametrize("one", EVERY, ids=lambda one: one.name)
MARKUP = "<img src=x>\"'&"
FINE = {200, 302, 303, 304, 400, 404, 405, 409, 422}


def client_of(person: User) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def ask(client: Client, one: Address, method: str = "GET") -> HttpResponseBase:
    """The answer; whatever it wrote is taken back, a log-out too."""
    session = client.cookies.get("sessionid")
    with transaction.atomic():
        headers = {"HX-Request": "true"} if one.piece else {}
        response = (
            client.get(one.url, headers=headers) if method == "GET" else client.post(one.url, {}, headers=headers)
        )
        transaction.set_rollback(True)
    if session is not None:
        client.cookies["sessionid"] = session.value
    return response


def writes(sql: str) -> bool:
    return bool(re.match(r"\s*(INSERT|UPDATE|DELETE)\b", sql, re.IGNORECASE)) and "django_session" not in sql


def html_of(response: HttpResponseBase) -> str:
    """The HTML of an answer; nothing for a file."""
    if isinstance(response, HttpResponse) and response.get("Content-Type", "").startswith("text/html"):
        return response.content.decode()
    return ""


def texts_of(html: str) -> list[str]:
    """What stands between the tags of a page, and the words for those who do not see it."""
    bare = re.sub(r"<(script|style|textarea|option|pre)\b.*?</\1>|<!--.*?-->", "", html, flags=re.DOTALL)
    spoken = re.findall(r'\s(?:aria-label|alt|title|placeholder)="([^"]*)"', bare)
    return [unescape(text).strip() for text in [*re.split(r"<[^>]*>", bare), *spoken] if text.strip()]


def test_who_may_use_what_is_what_was_agreed() -> None:  # [8.1.1, 8.2.1]
    """After a deliberate change: SUMPBOOK_WRITE_ROLES=1 pytest tests/test_urls.py, and read the difference."""
    if os.environ.get("SUMPBOOK_WRITE_ROLES"):
        TABLE.write_text(role_table())
    assert role_table() == TABLE.read_text()


@BY_NAME
def test_every_view_says_what_act_it_is(one: Address) -> None:
    if one.public:
        assert one.name in PUBLIC, "open to everybody, and not listed as such"
    else:
        assert one.act, "not behind `allowed`"


@BY_NAME
def test_a_name_and_its_address_fit(one: Address) -> None:
    assert re.fullmatch(r"([a-z]+:)?[a-z][a-z0-9-]*", one.name)
    assert re.fullmatch(r"/([a-z0-9.-]+/)*([a-z0-9-]+\.[a-z0-9]+)?", one.url), one.url


def begin_numbering() -> None:
    """Let the first row of every empty table have the number 1: on PostgreSQL a rollback does not give numbers back."""
    empty = [
        {"table": model._meta.db_table, "column": model._meta.pk.column}
        for model in apps.get_models()
        if isinstance(model._meta.pk, BigAutoField) and not model._default_manager.exists()
    ]
    with connection.cursor() as cursor:
        for sql in connection.ops.sequence_reset_by_name_sql(no_style(), empty):
            cursor.execute(sql)


class Crawl(TestCase):
    """One garage for all of these tests, and what its owner gets to see at every address."""

    clients: dict[str, Client]
    pages: dict[str, HttpResponseBase]
    written: list[tuple[str, str]]

    @classmethod
    def setUpClass(cls) -> None:
        super().setUpClass()
        begin_numbering()
        people = world.make(dt.datetime(2026, 3, 2, 12, tzinfo=dt.UTC))
        cls.clients = {role: client_of(person) for role, person in people.items()}
        cls.pages, cls.written = {}, []
        for one in EVERY:
            with CaptureQueriesContext(connection) as captured:
                cls.pages[one.name] = ask(cls.clients["owner"], one)
            cls.written += [(one.name, sql) for query in captured.captured_queries if writes(sql := query["sql"])]

    def test_nobody_is_let_in_without_a_login(self) -> None:  # [8.2.1]
        let_in = {}
        for one in EVERY:
            for method in ("GET", "POST"):
                response = ask(Client(), one, method)
                to_login = response.status_code == 302 and response["Location"].startswith("/login/?next=")
                if not to_login and response.status_code not in (401, 403) and one.name not in PUBLIC:
                    let_in[one.name, method] = response.status_code
        assert let_in == {}

    def test_a_role_is_let_in_or_not_as_the_table_says(self) -> None:  # [8.2.1]
        wrong = {}
        for role, client in self.clients.items():
            for one in EVERY:
                answers = {ask(client, one, method).status_code for method in ("GET", "POST")}
                fine = answers <= FINE if one.allows(role) else 403 in answers and answers <= {403, 405}
                if not fine:
                    wrong[role, one.name] = answers
        assert wrong == {}

    def test_the_crawl_sees_real_pages(self) -> None:
        """Or else all of this would be shown for empty answers. Where the owner meets no page is listed."""
        blank = {name for name, response in self.pages.items() if response.status_code not in (200, 405)}
        assert blank == set(NOTHING_TO_SEE)

    def test_a_post_without_the_csrf_token_is_refused(self) -> None:  # [3.5.1]
        client = Client(enforce_csrf_checks=True)
        client.cookies = self.clients["owner"].cookies
        assert {one.name: status for one in EVERY if (status := ask(client, one, "POST").status_code) != 403} == {}

    def test_asking_changes_nothing(self) -> None:  # [3.5.3]
        assert self.written == []

    def test_what_no_database_can_compare_breaks_no_page(self) -> None:  # [2.2.1]
        """A NUL typed into a search is an error of PostgreSQL's own, and 20 digits are more than a key can have."""
        typed = dict.fromkeys(("q", "find", "what", "phone", "v-vin", "v-plate", "vin", "name", "text"), "a\x00b")
        keys = dict.fromkeys(("customer", "vehicle", "item", "pack", "of", "before", "after", "step"), "9" * 20)
        broken = {}
        for one in EVERY:
            for asked in (typed, keys):
                url = f"{one.url}?{urlencode(asked)}"
                status = ask(self.clients["owner"], replace(one, url=url)).status_code
                if status >= 500:
                    broken[url] = status
        assert broken == {}

    def test_every_answer_carries_the_strict_headers(self) -> None:  # [3.4.3-6]
        for name, response in self.pages.items():
            assert response["X-Content-Type-Options"] == "nosniff", name
            assert response["Referrer-Policy"] == "same-origin", name
            assert response["Cross-Origin-Opener-Policy"] == "same-origin", name
            assert "camera=(self)" in response["Permissions-Policy"], name
            if html_of(response):
                policy = response["Content-Security-Policy"]
                assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy, name
                assert "unsafe" not in policy, name

    def test_every_page_has_one_name(self) -> None:
        for name, response in self.pages.items():
            html = html_of(response)
            if "<html" in html:
                assert len(re.findall(r"<h1[ >]", html)) == 1, name
                assert re.search(r"<title>\s*[^·\s][^<]*· Sumpbook</title>", html), name

    def test_every_link_of_a_page_leads_somewhere(self) -> None:
        """What stands in href, hx-get and hx-post; an empty one would lead back to the page itself."""
        links = {
            url: name
            for name, response in self.pages.items()
            for url in re.findall(r'<[^>]*\s(?:href|hx-get|hx-post)="([^"]*)"', html_of(response))
        }
        assert "" not in links, links[""]
        broken = {}
        for url, name in links.items():
            if url.startswith("/") and not url.startswith("/static/"):
                status = ask(self.clients["owner"], Address(name, unescape(url), None, False)).status_code
                if status not in (200, 302, 303, 405) and not url.startswith(ASKED_WITH_MORE):
                    broken[url] = (status, name)
        assert broken == {}

    def test_every_page_says_it_in_the_trades_words(self) -> None:
        """No retired word, nothing that was never filled in, no hyphen for a minus, no gap in a sentence."""
        wrong = {}
        for name, response in self.pages.items():
            for text in texts_of(html_of(response)):
                odd = [
                    *retired_in(text),
                    *re.findall(r"\bNone\b|\{[{%#]|(?<![\w-])-\d|\w  +\w|This field is required", text),
                ]
                if odd and "procedure: " not in text:  # how a procedure is written: the format has its own words
                    wrong[name, text[:80]] = odd
        assert wrong == {}

    def test_a_technician_meets_no_price(self) -> None:  # [8.2.3, 15.3.1]
        seen = []
        for one in EVERY:
            if one.allows("technician"):
                html = html_of(ask(self.clients["technician"], one))
                seen += [(one.name, price) for price in world.PRICES if re.search(rf"(?<![\d.]){price}(?!\d)", html)]
        assert seen == []

    def test_the_prices_looked_for_are_really_there(self) -> None:
        shown = "".join(html_of(response) for response in self.pages.values())
        assert [price for price in world.PRICES if price not in shown] == []

    def test_no_limit_stands_beside_a_figure_of_another_unit(self) -> None:
        assert bare_limits("<b>39 N·m</b><small>28.8 ft·lb · from 35 to 43</small>"), "the rule finds what it is for"
        assert not bare_limits("<b>39 N·m</b><small>28.8 ft·lb</small><small>OK: 35–43 N·m (25.8–31.7 ft·lb)</small>")
        shown = {name: html_of(response) for name, response in self.pages.items()}
        assert {name: found for name, page in shown.items() if (found := bare_limits(page))} == {}
        assert any("OK: " in page for page in shown.values())

    def test_what_people_wrote_is_never_taken_for_markup(self) -> None:  # [1.2.1]
        """A tag in every text of every table: each page shows it as text, or not at all."""
        database.remove_guards(connection)
        written = sum(world.fill_with(MARKUP))
        assert written > 60
        shown = 0
        for one in EVERY:
            response = ask(self.clients["owner"], one)
            assert response.status_code < 500, one.name
            assert MARKUP not in html_of(response), one.name
            shown += escape(MARKUP) in html_of(response)
        database.install(connection)
        assert shown > 30
