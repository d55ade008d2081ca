"""Append-only tables and their hash chains.

A row of an append-only table is never updated or deleted: triggers on SQLite and PostgreSQL refuse it
(`database.py` installs them), a correction is a new row. A chained table also carries, in each row, a hash of the
row before, so that a change made behind the program's back is found by `books_check`.
"""

import datetime as dt
import hashlib
import json
import uuid
from collections.abc import Iterator
from decimal import Decimal
from typing import Any, ClassVar, TypeVar

from django.db import connection, models

from garage import counters
from garage.fields import ScaledField


class AppendOnly(models.Model):
    """A table whose rows are only ever added."""

    class Meta:
        abstract = True


class Chained(AppendOnly):
    """An append-only row that seals the row before it. Write it with `append`, nothing else."""

    CHAIN: ClassVar[str]

    chain_seq = models.BigIntegerField(unique=True, editable=False)
    previous_hash = models.CharField(max_length=64, editable=False)
    row_hash = models.CharField(max_length=64, editable=False)

    class Meta:
        abstract = True


Row = TypeVar("Row", bound=Chained)


def plain(field: models.Field, value: Any) -> Any:
    """Give a field's value in the one form that is hashed, the same before saving and after reading back."""
    if value is None or isinstance(value, bool | int | str):
        return field.get_prep_value(value) if isinstance(field, ScaledField) else value
    if isinstance(field, ScaledField):
        return field.get_prep_value(value)
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat(timespec="microseconds")
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, uuid.UUID | Decimal):
        return str(value)
    return value


def digest(content: Any) -> str:
    """SHA-256 of a JSON-able value in canonical form: sorted keys, no spaces, UTF-8."""
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def content_of(row: models.Model, *, leave_out: tuple[str, ...] = ()) -> dict[str, Any]:
    """Every stored value of a row but its primary key and its own hash, ready to be hashed."""
    skip = {"row_hash", *leave_out}
    return {
        field.attname: plain(field, field.value_from_object(row))
        for field in row._meta.concrete_fields
        if not field.primary_key and field.attname not in skip
    }


def append(row: Row) -> Row:
    """Seal a new row into its chain and insert it; must run inside a transaction."""
    row.chain_seq = counters.allocate(f"chain:{row.CHAIN}")
    with connection.cursor() as cursor:
        cursor.execute("SELECT last_hash FROM garage_counter WHERE series = %s", [f"chain:{row.CHAIN}"])
        row.previous_hash = cursor.fetchone()[0]
        row.row_hash = digest(content_of(row))
        row.save(force_insert=True)
        cursor.execute(
            "UPDATE garage_counter SET last_hash = %s WHERE series = %s", [row.row_hash, f"chain:{row.CHAIN}"]
        )
    return row


def breaks(model: type[Chained]) -> Iterator[str]:
    """Walk a chain and name each row that is missing, changed or out of order (one sentence each)."""
    expected, before = 1, ""
    for row in model._default_manager.order_by("chain_seq").iterator(chunk_size=2000):
        name = f"{model._meta.verbose_name} {row.pk}"
        if row.chain_seq != expected:
            yield f"{name}: {model.CHAIN} chain has {row.chain_seq} where {expected} should stand: a row is missing"
        elif row.previous_hash != before:
            yield f"{name}: does not continue the {model.CHAIN} row before it"
        if digest(content_of(row)) != row.row_hash:
            yield f"{name}: its content is not what was sealed"
        expected, before = row.chain_seq + 1, row.row_hash
    with connection.cursor() as cursor:
        cursor.execute("SELECT value, last_hash FROM garage_counter WHERE series = %s", [f"chain:{model.CHAIN}"])
        last = cursor.fetchone() or (0, "")
    if (last[0], last[1]) != (expected - 1, before):
        yield f"{model.CHAIN} chain: its end is not the row the counter remembers: rows were cut off"
