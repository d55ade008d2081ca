"""The flush after a transactional test may empty the ledgers, and nothing after it may."""

import datetime as dt

import pytest
from django.db import DatabaseError, connection, transaction

from garage import audit, database
from garage.models import AuditEntry, ShopProfile


@pytest.mark.parametrize("round_", ["first", "after a flush"])
def test_each_transactional_test_finds_guarded_and_empty_ledgers(
    transactional_db: None, shop: ShopProfile, now: dt.datetime, round_: str
) -> None:
    assert not AuditEntry.objects.exists()
    assert database.missing_guards(connection) == []
    with transaction.atomic():
        audit.record("write", shop, actor=None, now=now)
    with pytest.raises(DatabaseError, match="append-only"):
        AuditEntry.objects.update(verb="rewrite")


@pytest.mark.django_db(transaction=True)
def test_a_mark_counts_like_the_fixture(shop: ShopProfile, now: dt.datetime) -> None:
    assert database.missing_guards(connection) == []
    with transaction.atomic():
        audit.record("write", shop, actor=None, now=now)
