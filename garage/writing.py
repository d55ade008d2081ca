"""One pen: how every write begins.

SQLite has one writer at a time. On PostgreSQL a transaction-level advisory lock gives the same order, so that
each verb is proven once for both databases: no deadlock between the counter rows of two chains, no lost update
between two counters. Write transactions are short (no PDF, no SMTP inside), and a garage has a handful of users.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction

PEN = 0x53554D50  # any fixed number; this one spells SUMP


@contextmanager
def writing() -> Iterator[None]:
    """Run the block (or, as `@writing()`, the function) in one transaction, holding the pen."""
    with transaction.atomic():
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_xact_lock(%s)", [PEN])
        yield
