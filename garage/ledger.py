"""Append-only tables, what seals their rows, and their hash chains.

A row of an append-only table is never updated or deleted: triggers on SQLite and PostgreSQL refuse it
(`database.py` installs them), a correction is a new row. Each row is sealed: by its own chain, where each row carries
the hash of the row before, or by its parent's `content_sha256`. So a change made behind the program's back is found by
`books_check`. What is hashed, column by column, is documented for strangers in docs/sealed-rows.md.

A row is verified by the columns of the format it was sealed in, not by those its table has today: a table may grow.
Personal values stand in a salted side row, of which the sealed row keeps the seal alone.
"""

import datetime as dt
import functools
import hashlib
import uuid
from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal
from typing import Any, ClassVar, TypeVar, cast

import rfc8785
from django.apps import apps
from django.db import connection, models

from garage import counters
from garage.fields import ScaledField


class FormatField(models.PositiveSmallIntegerField):
    """The number of the format a row was sealed in; a new row takes its table's last one."""

    def get_default(self) -> int:
        return len(getattr(self.model, "FORMATS", ())) or 1


class beside(property):
    """A value of a sealed row that stands in its side row: read and set like a column, empty once it is erased."""

    def __init__(self, empty: Any = "") -> None:
        super().__init__(self._read, self._write)
        self.empty = empty

    def __set_name__(self, owner: type, name: str) -> None:
        self.key = name

    def _read(self, row: "AppendOnly") -> Any:
        return self.empty if row.side is None else row.side.data.get(self.key, self.empty)

    def _write(self, row: "AppendOnly", value: Any) -> None:
        if value == self.empty and row.side is None:
            return
        if row.side is None:
            row.side = apps.get_model("garage.SideRow")()
        side: Any = row.side
        side.data[self.key] = value


def aside(**values: Any) -> dict[str, Any]:
    """The values of a new row that stand in its side row, by the names of its `beside`: `Payment(…, **aside(…))`."""
    return values


class AppendOnly(models.Model):
    """A table whose rows are only ever added, and sealed.

    `FORMATS` lists, for each format from the first on, the columns that are hashed (see `columns`): a format is never
    changed, a table that gains a column gains a format. `OUTSIDE` are the columns that no hash covers.
    """

    FORMATS: ClassVar[tuple[str, ...]]
    OUTSIDE: ClassVar[frozenset[str]] = frozenset({"id"})

    sealed_format = FormatField(editable=False)
    side = models.ForeignKey("garage.SideRow", models.PROTECT, null=True, editable=False, related_name="+")
    side_seal = models.CharField(max_length=64, blank=True, editable=False)

    class Meta:
        abstract = True


class Chained(AppendOnly):
    """An append-only row that seals the row before it. Write it with `append`, nothing else.

    The order of a chain is its sequence. `MOMENT` names the column with the clock's reading; a row read from an
    earlier clock than the row before it keeps its reading and carries the mark `clock_behind`.
    """

    CHAIN: ClassVar[str]
    MOMENT: ClassVar[str] = "at"
    OUTSIDE: ClassVar[frozenset[str]] = frozenset({"id", "row_hash"})

    chain_seq = models.BigIntegerField(unique=True, editable=False)
    previous_hash = models.CharField(max_length=64, editable=False)
    row_hash = models.CharField(max_length=64, editable=False)
    clock_behind = models.BooleanField(default=False, editable=False)

    class Meta:
        abstract = True


Row = TypeVar("Row", bound=Chained)


@functools.cache
def columns(listed: str) -> Mapping[str, str]:
    """A format's list as a mapping: the name in the hash to today's column.

    A list is names separated by blanks; `name=column` where the column was renamed since.
    """
    pairs = (word.partition("=") for word in listed.split())
    return {name: column or name for name, _, column in pairs}


def unlisted(model: type[AppendOnly]) -> set[str]:
    """The columns by which a table and its last format differ: none, or the list needs another format."""
    stored = {field.attname for field in model._meta.concrete_fields}
    return (stored - model.OUTSIDE) ^ set(columns(model.FORMATS[-1]).values())


def plain(field: models.Field, value: Any) -> Any:
    """Give a field's value as it is stored, the same before saving and after reading back."""
    if value is None or isinstance(value, bool | int | str):
        return field.get_prep_value(value) if isinstance(field, ScaledField) else value
    if isinstance(field, ScaledField):
        return field.get_prep_value(value)
    if isinstance(value, dt.datetime):
        return f"{value.astimezone(dt.UTC):%Y-%m-%dT%H:%M:%S.%f}Z"
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, uuid.UUID | Decimal):
        return str(value)
    return value


def canonical(value: Any) -> Any:
    """A JSON value with every number as a text: RFC 8785 refuses whole ones above 2^53.

    A number that is not whole becomes the text that RFC 8785 writes for it.
    """
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str | int):
        return str(value)
    if isinstance(value, float):
        return rfc8785.dumps(value).decode()
    if isinstance(value, Mapping):
        return {str(name): canonical(one) for name, one in value.items()}
    return [canonical(one) for one in value]


def digest(content: Any) -> str:
    """SHA-256 of a JSON-able value in the canonical form of RFC 8785, figures as texts."""
    return hashlib.sha256(rfc8785.dumps(canonical(content))).hexdigest()


def content_of(row: AppendOnly) -> dict[str, Any]:
    """What is hashed of a row: the columns of its format. Empty, which fits no hash, for a format nobody knows."""
    formats = type(row).FORMATS
    if not 1 <= row.sealed_format <= len(formats):
        return {}
    fields = {field.attname: field for field in row._meta.concrete_fields}
    listed = columns(formats[row.sealed_format - 1])
    return {name: plain(fields[at], fields[at].value_from_object(row)) for name, at in listed.items()}


def put_aside(rows: Iterable[AppendOnly], *, now: dt.datetime) -> None:
    """Store the side rows of new rows, as of `now`, and keep their seals in the rows; before they are hashed."""
    waiting: list[tuple[AppendOnly, Any]] = [
        (row, row.side) for row in rows if row.side is not None and row.side_id is None
    ]
    for _, side in waiting:
        side.written_at = now
    if len(waiting) == 1:  # a bulk of one would cost a savepoint
        waiting[0][1].save(force_insert=True)
    elif waiting:
        apps.get_model("garage.SideRow").objects.bulk_create([side for _, side in waiting])
    for row, side in waiting:
        row.side, row.side_seal = side, side.seal()  # the key is known only now


def append(row: Row) -> Row:
    """Seal a new row into its chain and insert it; must run inside a transaction."""
    row.chain_seq = counters.allocate(f"chain:{row.CHAIN}")
    moment = cast(dt.datetime, getattr(row, row.MOMENT))
    before = type(row)._default_manager.order_by("-chain_seq").values_list(row.MOMENT, flat=True).first()
    row.clock_behind = before is not None and moment < before
    put_aside([row], now=moment)
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
    expected, before = 1, model()
    for row in model._default_manager.order_by("chain_seq").iterator(chunk_size=2000):
        name = f"{model._meta.verbose_name} {row.pk}"
        if row.chain_seq != expected:
            yield f"{name}: {model.CHAIN} chain has {row.chain_seq} where {expected} should stand: a row is missing"
        elif row.previous_hash != before.row_hash:
            yield f"{name}: does not continue the {model.CHAIN} row before it"
        if digest(content_of(row)) != row.row_hash:
            yield f"{name}: its content is not what was sealed"
        if before.pk is not None:
            yield from _out_of_order(name, before, row)
        expected, before = row.chain_seq + 1, row
    with connection.cursor() as cursor:
        cursor.execute("SELECT value, last_hash FROM garage_counter WHERE series = %s", [f"chain:{model.CHAIN}"])
        last = cursor.fetchone() or (0, "")
    if (last[0], last[1]) != (expected - 1, before.row_hash):
        yield f"{model.CHAIN} chain: its end is not the row the counter remembers: rows were cut off"


def _out_of_order(name: str, before: Chained, row: Chained) -> Iterator[str]:
    """A row whose key or clock does not follow the row before it, and does not say so."""
    if row.pk <= before.pk:
        yield f"{name}: its key was exchanged with that of another row"
    behind = getattr(row, row.MOMENT) < getattr(before, row.MOMENT)
    if behind and not row.clock_behind:
        yield f"{name}: bears a time before the row before it, and no mark of a clock set back: it was changed"
    if row.clock_behind and not behind:
        yield f"{name}: is marked as written by a clock set back, but follows the row before it: it was changed"


def chains() -> dict[str, type[Chained]]:
    """Every chain by its name."""
    return {model.CHAIN: model for model in sealed_models() if issubclass(model, Chained)}


def sealed_models() -> list[type[AppendOnly]]:
    """Every model whose rows may only be added."""
    return [model for model in apps.get_models() if issubclass(model, AppendOnly)]
