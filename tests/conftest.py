"""Fixtures that every test may use: the cast of people, made by the program's own verbs, and the ledger's guards."""

import datetime as dt
from collections.abc import Callable, Iterator

import pytest
from django.db import connection
from django.test import Client
from pytest_django.plugin import blocking_manager_key

from garage import database, heads
from garage.models import Role, ShopProfile, User

NOON = dt.datetime(2026, 3, 2, 12, 0, tzinfo=dt.UTC)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_teardown(item: pytest.Function) -> Iterator[None]:
    """A transactional test is flushed at its end: only there the append-only triggers step aside.

    A hook and not a fixture: the flush is one of the fixtures' endings, and this has to stand around all of them.
    """
    marker = item.get_closest_marker("django_db")
    flushed = {"transactional_db", "live_server"} & item.funcargs.keys()
    if not flushed and not (marker and marker.kwargs.get("transaction") and item.funcargs):
        return (yield)
    blocker = item.config.stash[blocking_manager_key]
    with blocker.unblock():
        database.remove_guards(connection)
    try:
        return (yield)
    finally:
        with blocker.unblock():
            database.install(connection)


@pytest.fixture(autouse=True)
def _no_heads_kept_of_another_book() -> None:
    """Each test has a book of its own, but all share the data directory."""
    heads.path().unlink(missing_ok=True)


@pytest.fixture
def now() -> dt.datetime:
    """The tests' clock: verbs take it as an argument."""
    return NOON


@pytest.fixture
def shop(db: None) -> ShopProfile:
    """The test garage's profile: miles, US Letter, 128.00 an hour."""
    return ShopProfile.objects.create(
        pk=1,
        name="Test garage",
        address="1 Test Row\nTesterton",
        phone="555-0100",
        email="garage@example.com",
        license_number="T-1",
        time_zone="America/New_York",
        labor_rate="128.00",
    )


@pytest.fixture
def people(db: None) -> dict[str, User]:
    """One user of each role, by the role's name."""
    return {
        role: User.objects.create_user(username=role, password="correct-horse", name=f"{role.title()} Test", role=role)
        for role in Role.values
    }


@pytest.fixture
def login(people: dict[str, User]) -> Callable[[str], Client]:
    """`login("counter")` gives a client logged in with that role."""

    def as_role(role: str) -> Client:
        client = Client()
        client.force_login(people[role], backend="django.contrib.auth.backends.ModelBackend")
        return client

    return as_role
