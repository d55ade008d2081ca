"""Numbers without gap or duplicate."""

from django.db import connection


def allocate(series: str) -> int:
    """Take the next number of a series (the first is 1), locking the series until the transaction ends.

    A rolled-back transaction gives its number back, so no gap can arise. Raises RuntimeError outside a
    transaction, where the number could be lost.
    """
    if not connection.in_atomic_block:
        raise RuntimeError("a number is only given out inside a transaction")
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO garage_counter (series, value, last_hash) VALUES (%s, 1, '') "
            "ON CONFLICT (series) DO UPDATE SET value = garage_counter.value + 1 RETURNING value",
            [series],
        )
        return int(cursor.fetchone()[0])
