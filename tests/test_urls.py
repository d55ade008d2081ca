"""Every address of the resolver, asked for by everybody: who is let in, and that nothing breaks.

The numbers in brackets are requirements of OWASP ASVS 5.0.
"""

import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from django.db import connection
from django.http import HttpResponse, HttpResponseBase
from django.test import Client
from django.test.utils import CaptureQueriesContext

from garage.models import Role
from tests.urls import PUBLIC, Address, addresses, role_table

TABLE = Path(__file__).parent / "roles.csv"
EVERY = addresses()
BY_NAME = pytest.mark.parametrize("one", EVERY, ids=lambda one: one.name)
FINE = {200, 302, 303, 304, 400, 404, 405, 409, 422}

Login = Callable[[str], Client]


def ask(client: Client, one: Address, method: str) -> HttpResponseBase:
    client.raise_request_exception = False
    return client.get(one.url) if method == "GET" else client.post(one.url, {})


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


@BY_NAME
def test_nobody_is_let_in_without_a_login(one: Address, shop: object) -> None:  # [8.2.1]
    if one.name in PUBLIC:
        assert ask(Client(), one, "GET").status_code == 200
        return
    for method in ("GET", "POST"):
        response = ask(Client(), one, method)
        assert response.status_code in (302, 401, 403)
        if response.status_code == 302:
            assert response["Location"].startswith("/login/?next=")


@BY_NAME
def test_each_role_is_let_in_or_not_as_the_table_says(one: Address, shop: object, login: Login) -> None:  # [8.2.1]
    for role in Role.values:
        answers = {method: ask(login(role), one, method).status_code for method in ("GET", "POST")}
        if one.allows(role):
            assert set(answers.values()) <= FINE, (role, answers)
        else:
            assert 403 in answers.values() and set(answers.values()) <= {403, 405}, (role, answers)


@BY_NAME
def test_a_post_without_the_csrf_token_is_refused(one: Address, shop: object, login: Login) -> None:  # [3.5.1]
    client = login("owner")
    client.handler.enforce_csrf_checks = True
    assert ask(client, one, "POST").status_code == 403


@BY_NAME
def test_asking_changes_nothing(one: Address, shop: object, login: Login) -> None:  # [3.5.3]
    client = login("owner")
    with CaptureQueriesContext(connection) as captured:
        ask(client, one, "GET")
    writes = [
        query["sql"]
        for query in captured.captured_queries
        if re.match(r"\s*(INSERT|UPDATE|DELETE)\b", query["sql"], re.IGNORECASE)
        and "django_session" not in query["sql"]
    ]
    assert writes == []


@BY_NAME
def test_a_page_has_one_name_and_the_strict_headers(one: Address, shop: object, login: Login) -> None:  # [3.4.3-6]
    response = ask(login("owner"), one, "GET")
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Referrer-Policy"] == "same-origin"
    assert response["Cross-Origin-Opener-Policy"] == "same-origin"
    assert "camera=(self)" in response["Permissions-Policy"]
    if not (isinstance(response, HttpResponse) and response.get("Content-Type", "").startswith("text/html")):
        return
    policy = response["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy and "unsafe" not in policy
    html = response.content.decode()
    if "<html" in html:
        assert len(re.findall(r"<h1[ >]", html)) == 1
        assert re.search(r"<title>\s*[^·\s][^<]*· Sumpbook</title>", html)
