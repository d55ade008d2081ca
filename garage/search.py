"""Find anything by anything typed: names, phone digits in any format, plates, ends of VINs, numbers.

Each thing has one row in `SearchEntry`; a full-text index (FTS5 on SQLite, tsvector on PostgreSQL) matches every
typed word as a prefix. Newest first: ranking common words would cost seconds on a large book.
"""

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from django.db import connection, models
from django.db.models.expressions import RawSQL
from django.urls import resolve, reverse

from garage.access import may
from garage.cuts import Cut
from garage.database import FULL_TEXT_TABLE
from garage.models import SearchEntry
from garage.texts import shortened


@dataclass(frozen=True)
class Kind:
    """A kind of thing that can be found, and the page that shows one."""

    label: str
    url_name: str


@dataclass(frozen=True)
class Found:
    """One find."""

    kind: str
    label: str
    title: str
    subtitle: str
    url: str
    object_id: int


_kinds: dict[str, Kind] = {}


def register(kind: str, label: str, url_name: str) -> None:
    """Make a kind of thing findable; `url_name` takes its primary key."""
    _kinds[kind] = Kind(label, url_name)


def kinds_for(user: object) -> list[str]:
    """The kinds whose page this user may open; nothing else is shown among the finds."""
    return [name for name, kind in _kinds.items() if may(user, _act(kind))]


def _act(kind: Kind) -> str:
    view = resolve(reverse(kind.url_name, args=[0])).func
    return str(view.act)  # type: ignore[attr-defined]


def fold(text: str) -> str:
    """Lower case without accents, so that Åse is found as ase."""
    decomposed = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in decomposed if not unicodedata.combining(c))


def digits(text: str) -> str:
    """Only the digits of a text."""
    return "".join(c for c in text if c in "0123456789")


def key(text: str) -> str:
    """Upper case, letters and digits only: `ab-12 3` and `AB123` are the same number."""
    return "".join(c for c in fold(text).upper() if c.isalnum())


def phone_words(number: str) -> list[str]:
    """The ways a phone number is asked for: all its digits, the last seven, the last four."""
    number = digits(number)
    return [number[-length:] for length in (len(number), 7, 4) if 0 < length <= len(number)]


def vin_words(vin: str) -> list[str]:
    """The whole VIN and its last eight to six characters."""
    return [vin[-length:] for length in (17, 8, 7, 6) if len(vin) >= length] or ([vin] if vin else [])


def words_of(text: str) -> list[str]:
    """The folded words of a text, split at everything that is not a letter or digit, and as one number."""
    parts = re.findall(r"\w+", fold(text).replace("_", " "))
    return [*parts, "".join(parts)] if len(parts) in (2, 3) else parts


def put(kind: str, subject: models.Model, *, title: str, subtitle: str = "", words: Iterable[str] = ()) -> None:
    """Make `subject` findable, or bring its entry up to date; call it in the verb's transaction."""
    all_words = dict.fromkeys(word for text in (title, *words) for word in [*words_of(text), key(text).lower()] if word)
    SearchEntry.objects.update_or_create(
        kind=kind,
        object_id=subject.pk,
        defaults={"title": shortened(title, 200), "subtitle": shortened(subtitle, 300), "words": " ".join(all_words)},
    )


def drop(kind: str, subject: models.Model) -> None:
    """Let `subject` be found no longer."""
    SearchEntry.objects.filter(kind=kind, object_id=subject.pk).delete()


def queries(text: str) -> list[list[str]]:
    """The alternatives a typed text stands for, each a list of words that must all begin some word.

    `KET 118` is two words or the plate KET118; `555 01 42` is also the digits 5550142.
    """
    words = re.findall(r"\w+", fold(text).replace("_", " "))
    joined = "".join(words)
    return [words] if len(words) < 2 else [words, [joined]]


def find(text: str, *, kinds: Iterable[str] | None = None, limit: int = 30) -> Cut[Found]:
    """What the typed text finds, newest first; nothing typed finds nothing.

    Of each kind the newest: a customer is found by name however many invoices bear it. What is beyond the limit is
    not counted: counting what a common word finds would cost seconds too.
    """
    alternatives = [words for words in queries(text) if words]
    chosen = list(kinds) if kinds is not None else list(_kinds)
    if not alternatives or not chosen:
        return Cut()
    wanted = models.Q()
    for kind in chosen:
        newest = _matching(kind, alternatives).order_by("-pk")
        wanted |= models.Q(pk__in=newest.values("pk")[: limit + 1])
    entries = list(SearchEntry.objects.filter(wanted).order_by("-pk"))
    return Cut((_found(entry) for entry in _shared_out(entries, limit)), more=len(entries) > limit)


def _shared_out(entries: Iterable[SearchEntry], limit: int) -> list[SearchEntry]:
    """At most `limit` of them in their order, the first of each kind before the second of any."""
    places: Counter[str] = Counter()
    ranked = []
    for order, entry in enumerate(entries):
        places[entry.kind] += 1
        ranked.append((places[entry.kind], order, entry))
    kept = sorted(ranked, key=lambda row: row[:2])[:limit]
    return [entry for _place, _order, entry in sorted(kept, key=lambda row: row[1])]


def keys_of(kind: str, text: str) -> "models.QuerySet[SearchEntry, int]":
    """Primary keys of all things of one kind that the typed text finds, for a filter: a list is narrowed by it in the
    query itself, so that nothing is cut before the list's own conditions are asked."""
    alternatives = [words for words in queries(text) if words]
    found = _matching(kind, alternatives) if alternatives else SearchEntry.objects.none()
    return found.values_list("object_id", flat=True)


def _matching(kind: str, alternatives: list[list[str]]) -> "models.QuerySet[SearchEntry]":
    matching = _on_sqlite if connection.vendor == "sqlite" else _on_postgres
    return matching(SearchEntry.objects.filter(kind=kind), alternatives)


def _on_sqlite(rows: "models.QuerySet[SearchEntry]", alternatives: list[list[str]]) -> "models.QuerySet[SearchEntry]":
    match = " OR ".join("(" + " AND ".join(f'"{word}"*' for word in words) + ")" for words in alternatives)
    sql = f"SELECT rowid FROM {FULL_TEXT_TABLE} WHERE {FULL_TEXT_TABLE} MATCH %s"
    return rows.filter(pk__in=RawSQL(sql, [match]))


def _on_postgres(rows: "models.QuerySet[SearchEntry]", alternatives: list[list[str]]) -> "models.QuerySet[SearchEntry]":
    match = " | ".join("(" + " & ".join(f"{word}:*" for word in words) + ")" for words in alternatives)
    return rows.extra(  # the expression must be the index's own, to the letter
        where=["to_tsvector('simple', title || ' ' || subtitle || ' ' || words) @@ to_tsquery('simple', %s)"],
        params=[match],
    )


def _found(entry: SearchEntry) -> Found:
    kind = _kinds[entry.kind]
    url = reverse(kind.url_name, args=[entry.object_id])
    return Found(entry.kind, kind.label, entry.title, entry.subtitle, url, entry.object_id)
