"""A book's tables as plain SQL gives them, for a stranger who works its figures out anew: fractions, nothing rounded.

Cents for money, millionths of the currency for prices and values, billionths for quantities and shares.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from typing import Any, NamedTuple

Row = dict[str, Any]
MILLION, BILLION = 10**6, 10**9


def half_up(exact: Fraction) -> int:
    """The nearest whole number, a half away from zero."""
    whole = (2 * abs(exact.numerator) + exact.denominator) // (2 * exact.denominator)
    return whole if exact >= 0 else -whole


class Wrong(NamedTuple):
    """One figure that is stored otherwise than it comes to."""

    what: str
    stored: object
    comes_to: object


class Book:
    """A book's tables by name, each read once and kept by primary key; `checked` counts the figures worked out."""

    def __init__(self, select: Callable[[str], Iterable[Row]]) -> None:
        self._select, self._tables = select, dict[str, dict[int, Row]]()
        self.checked: Counter[str] = Counter()

    def __getitem__(self, table: str) -> dict[int, Row]:
        if table not in self._tables:
            rows = sorted(self._select(table), key=lambda row: row["id"])
            self._tables[table] = {row["id"]: row for row in rows}
        return self._tables[table]

    def by(self, table: str, column: str) -> dict[Any, list[Row]]:
        """The rows of a table by another column."""
        found: dict[Any, list[Row]] = defaultdict(list)
        for row in self[table].values():
            found[row[column]].append(row)
        return found

    def expect(self, kind: str, what: str, stored: object, comes_to: object) -> Iterator[Wrong]:
        """Count a figure, and tell it when it is wrong."""
        self.checked[kind] += 1
        if stored != comes_to:
            yield Wrong(f"{kind}: {what}", stored, comes_to)
