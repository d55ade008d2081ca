"""Append-only tables and their chains: a change behind the program's back is refused, or else found."""

import datetime as dt

import pytest
from django.db import DatabaseError, connection, transaction

from garage import audit, database, ledger
from garage.models import AuditEntry, User
from garage.writing import writing


@pytest.fixture
def trail(people: dict[str, User], now: dt.datetime) -> list[AuditEntry]:
    owner = people["owner"]
    with writing():
        return [audit.record("did", owner, actor=owner, now=now, step=n, name="Åse") for n in range(4)]


@pytest.mark.parametrize("act", ["UPDATE garage_auditentry SET verb = 'other'", "DELETE FROM garage_auditentry"])
def test_a_sealed_row_can_be_neither_changed_nor_deleted(trail: list[AuditEntry], act: str) -> None:
    with (
        pytest.raises(DatabaseError, match="append-only"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(act)


def test_a_sound_chain_has_no_break(trail: list[AuditEntry]) -> None:
    assert list(ledger.breaks(AuditEntry)) == []


@pytest.mark.parametrize(
    ("act", "finding"),
    [
        ("UPDATE garage_auditentry SET verb = 'other' WHERE chain_seq = 2", "not what was sealed"),
        ("DELETE FROM garage_auditentry WHERE chain_seq = 2", "a row is missing"),
        ("DELETE FROM garage_auditentry WHERE chain_seq = 4", "rows were cut off"),
        ("UPDATE garage_auditentry SET previous_hash = row_hash WHERE chain_seq = 3", "does not continue"),
    ],
)
def test_a_change_behind_the_programs_back_is_found(trail: list[AuditEntry], act: str, finding: str) -> None:
    database.remove_guards(connection)
    with connection.cursor() as cursor:
        cursor.execute(act)
    assert any(finding in sentence for sentence in ledger.breaks(AuditEntry))
    database.install(connection)


def test_every_append_only_table_is_guarded(db: None) -> None:
    assert database.missing_guards(connection) == []
    assert len(ledger.sealed_models()) >= 9
