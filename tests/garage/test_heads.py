"""The heads of the chains, kept beside the database: what a book that was put back or cut off cannot forge."""

import datetime as dt
import json
from collections.abc import Iterator
from io import StringIO
from types import SimpleNamespace

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from garage import audit, database, heads, ledger
from garage.models import AuditEntry, User
from garage.writing import writing


@pytest.fixture
def trail(people: dict[str, User], now: dt.datetime) -> list[AuditEntry]:
    return [act(people["owner"], now) for _ in range(4)]


def act(owner: User, now: dt.datetime) -> AuditEntry:
    with writing():
        return audit.record("did", owner, actor=owner, now=now)


@pytest.fixture
def unguarded(db: None) -> Iterator[None]:
    database.remove_guards(connection)
    yield
    database.install(connection)


def books_check() -> str:
    out = StringIO()
    call_command("books_check", stdout=out)
    return out.getvalue()


def cut_off(last: int) -> None:
    """Cut the trail off after a row and set its counter back: what is left is a whole chain."""
    database.remove_guards(connection)
    head = AuditEntry.objects.get(chain_seq=last).row_hash
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM garage_auditentry WHERE chain_seq > %s", [last])
        cursor.execute(
            "UPDATE garage_counter SET value = %s, last_hash = %s WHERE series = 'chain:audit'", [last, head]
        )
    database.install(connection)
    assert list(ledger.breaks(AuditEntry)) == []


def test_books_check_keeps_them_and_a_longer_book_still_has_them(
    trail: list[AuditEntry], people: dict[str, User], now: dt.datetime
) -> None:
    assert "note    No heads are kept outside the database yet" in books_check()
    kept = json.loads(heads.path().read_text())
    assert kept["chains"] == {"audit": {"length": 4, "head": trail[-1].row_hash}}
    act(people["owner"], now)
    said = books_check()
    assert f"holds   {heads.PROMISE}" in said and "note" not in said
    assert json.loads(heads.path().read_text())["chains"]["audit"]["length"] == 5
    assert [path.name for path in heads.path().parent.glob("*chains*")] == [heads.path().name]


def test_a_book_that_was_cut_off_together_with_its_counter_is_named(
    trail: list[AuditEntry], people: dict[str, User], now: dt.datetime
) -> None:
    assert heads.keep()
    before = heads.path().read_text()
    cut_off(2)
    with pytest.raises(CommandError, match="1 breaches"):
        books_check()
    assert [sentence.partition(" on ")[0] for sentence in heads.missing(heads.read())] == [
        "audit chain: row 4, its last"
    ]
    assert "an older copy was put back, or rows were cut off" in next(heads.missing(heads.read()))
    assert not heads.keep() and heads.path().read_text() == before  # the evidence is not written over
    for _ in range(3):
        act(people["owner"], now + dt.timedelta(minutes=1))  # and a row of that number that is another one is no match
    assert "is another one in the book" in next(heads.missing(heads.read()))


def one_chain(length: str) -> str:
    return f'{{"kept_at": "today", "chains": {{"audit": {{"length": {length}, "head": "ab"}}}}}}'


@pytest.mark.parametrize(
    "said",
    [
        "", "{}", "[1]", '{"kept_at": 1, "chains": {"audit": 4}}', '{"chains": {"audit": {}}}', "[" * 100_000,
        *map(one_chain, ["Infinity", "1e999", "NaN", "0", "-1", "null", '"4"']), "\0", "\ufeff{}",
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_read_is_said_and_no_breach(trail: list[AuditEntry], said: str) -> None:
    heads.path().write_text(said)
    assert "note    The heads kept in" in books_check()
    assert "nothing to compare with" not in books_check()  # and is written anew


def test_a_file_that_was_emptied_compares_nothing_and_says_so(
    trail: list[AuditEntry], caplog: pytest.LogCaptureFixture
) -> None:
    heads.path().write_text('{"kept_at": "today", "chains": {}}')
    assert heads.keep() and "names no head: nothing to compare with" in caplog.text
    heads.path().write_text('{"kept_at": "today", "chains": {}}')
    assert "names no head: nothing to compare with" in books_check()


@pytest.mark.parametrize("length", ["99", "9" * 30])
def test_a_chain_that_is_said_to_be_longer_is_a_breach(trail: list[AuditEntry], length: str) -> None:
    heads.path().write_text(one_chain(length))
    assert "is not in the book" in next(heads.missing(heads.read()))


def test_another_database_in_the_same_directory_is_compared_with_its_own(
    trail: list[AuditEntry], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A demo in SQLite and then one in PostgreSQL, both beside the same key file: neither is a forged one."""
    heads.path().write_text(one_chain("9"))
    other = SimpleNamespace(vendor="postgresql", settings_dict={"NAME": "another"})
    monkeypatch.setattr(heads, "connection", other)
    assert "No heads are kept outside the database yet" in books_check()
    heads.path().unlink()


@pytest.mark.django_db(transaction=True)
def test_the_worker_keeps_them(trail: list[AuditEntry]) -> None:
    call_command("worker", once=True)
    assert heads.read().heads == {"audit": (4, trail[-1].row_hash)}


def test_a_disk_that_is_full_stops_nothing(trail: list[AuditEntry], monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*args: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("garage.heads.os.replace", full)
    assert not heads.keep() and not list(heads.path().parent.glob("*chains*"))
