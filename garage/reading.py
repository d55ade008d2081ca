"""One moment of the book: how a check or a report reads many tables while others write.

A question and the next one may have a payment between them; sums that were sound at every moment then disagree. Inside
`one_moment()` all questions of this thread are answered from the book as it stood at the first. No writer waits for it
and it waits for none: it has a connection of its own that cannot write.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper


@contextmanager
def one_moment() -> Iterator[None]:
    """Read the block's rows as they stand now; a write inside it fails.

    Within a transaction the transaction itself is the moment, and nothing changes. SQLite's log is not folded into its
    file meanwhile, so it grows with what others write.
    """
    usual = connections[DEFAULT_DB_ALIAS]
    if usual.in_atomic_block:
        yield
        return
    own = _reader(usual)
    connections[DEFAULT_DB_ALIAS] = own  # in this thread alone
    try:
        with transaction.atomic():
            _begin(own)
            yield
    finally:
        connections[DEFAULT_DB_ALIAS] = usual
        own.close()


def _reader(usual: BaseDatabaseWrapper) -> BaseDatabaseWrapper:
    """A second connection to the same database; on SQLite its transactions take no lock until they read."""
    settings: dict[str, Any] = {**usual.settings_dict}
    if usual.vendor == "sqlite":
        settings["OPTIONS"] = {**settings["OPTIONS"], "transaction_mode": "DEFERRED"}
    return type(usual)(settings, usual.alias)


def _begin(own: BaseDatabaseWrapper) -> None:
    """Fix the moment, which the first question does, and let nothing be written."""
    with own.cursor() as cursor:
        if own.vendor == "sqlite":
            cursor.execute("PRAGMA query_only = 1")
            cursor.execute("SELECT COUNT(*) FROM sqlite_master")
        else:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            cursor.execute("SELECT 1")
        cursor.fetchone()
