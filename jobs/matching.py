"""Which procedure fits a vehicle best. Pure: no Django here.

Each row of "applies to" may name make, model, years, engine and drivetrain; an empty field fits any. The more a
matching row names, the better it fits; a row that contradicts the vehicle does not fit at all.
"""

from collections.abc import Iterable
from typing import Protocol

# A more particular word weighs more than all less particular ones together: a row for this engine beats one that
# only names the make, the model and the years.
_WEIGHTS = {"make": 1, "model": 2, "years": 4, "engine": 8, "drivetrain": 16}


class Row(Protocol):
    """What a row of "applies to" says."""

    @property
    def make(self) -> str: ...
    @property
    def model(self) -> str: ...
    @property
    def year_from(self) -> int | None: ...
    @property
    def year_to(self) -> int | None: ...
    @property
    def engine(self) -> str: ...
    @property
    def drivetrain(self) -> str: ...


class Car(Protocol):
    """What is known of a vehicle."""

    @property
    def make(self) -> str: ...
    @property
    def model(self) -> str: ...
    @property
    def year(self) -> int | None: ...
    @property
    def engine(self) -> str: ...
    @property
    def drivetrain(self) -> str: ...


def score(row: Row, car: Car) -> int | None:
    """Return how well a row fits a vehicle: 0 for a row that fits any, more the more it names; None when it does not.

    Words fit when every word of the row stands in the vehicle's text, whatever the case: `2.4 diesel` fits
    `2.4 l diesel, 110 kW`. A row with years does not fit a vehicle of unknown year.
    """
    total = 0
    for name in ("make", "model", "engine", "drivetrain"):
        wanted = _words(getattr(row, name))
        if not wanted:
            continue
        if not wanted <= _words(getattr(car, name)):
            return None
        total += _WEIGHTS[name]
    if row.year_from is not None or row.year_to is not None:
        if car.year is None or not (row.year_from or 0) <= car.year <= (row.year_to or 9999):
            return None
        total += _WEIGHTS["years"]
    return total


def best_match(rows: Iterable[Row], car: Car) -> int | None:
    """Return the best score of a procedure's rows; a procedure without rows fits any vehicle (0)."""
    all_rows = list(rows)
    if not all_rows:
        return 0
    return max((found for row in all_rows if (found := score(row, car)) is not None), default=None)


def _words(text: str) -> set[str]:
    return set(text.casefold().replace(",", " ").split())
