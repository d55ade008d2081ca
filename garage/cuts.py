"""Lists of which a page shows the first rows only: nothing is cut without saying so (`{% shown_of %}`)."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, TypeVar

from django.http import HttpRequest

if TYPE_CHECKING:
    from django.db.models import QuerySet

Row = TypeVar("Row")
Other = TypeVar("Other")

#: In the address: show all of a list that the page would cut.
ALL = "all"


class Cut(list[Row]):
    """The rows that are shown, and what was left out.

    `more` says that rows were left out; `total` is how many there are in all, None where counting them would cost more
    than it tells.
    """

    def __init__(self, rows: Iterable[Row] = (), *, total: int | None = None, more: bool = False) -> None:
        super().__init__(rows)
        self.total, self.more = total, more

    @property
    def known(self) -> int:
        """How many there are, as far as that is known."""
        return len(self) if self.total is None else self.total

    @classmethod
    def of(cls, rows: Iterable[Row], most: int) -> "Cut[Row]":
        """At most so many of rows that are at hand."""
        everything = list(rows)
        return cls(everything[:most], total=len(everything), more=len(everything) > most)

    def with_rows(self, rows: Iterable[Other]) -> "Cut[Other]":
        """The same cut, each row in another form."""
        return Cut(rows, total=self.total, more=self.more)


def first_of(
    rows: "QuerySet[Any, Other]", most: int, request: HttpRequest | None = None, *, counted: bool = True
) -> Cut[Other]:
    """The first rows of a query; all of them where the address of `request` asks for that (`?all=1`).

    Counting costs a query, and is done only when something is left out.
    """
    if request is not None and ALL in request.GET:
        return Cut(rows)
    found = list(rows[: most + 1])
    more = len(found) > most
    return Cut(found[:most], total=rows.count() if more and counted else None, more=more)
