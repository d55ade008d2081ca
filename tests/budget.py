"""Query budgets: a page asks the database a fixed number of times, however long the book has become."""

from collections import Counter
from collections.abc import Callable

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext


def queries_of(client: Client, url: str, **headers: str) -> list[str]:
    """The SQL of one GET, which must answer 200; a first GET fills the caches of the process."""
    for _ in range(2):
        with CaptureQueriesContext(connection) as captured:
            response = client.get(url, headers=headers or None)
        assert response.status_code == 200, f"{url} answers {response.status_code}"
    return [query["sql"] for query in captured.captured_queries]


def assert_budget(client: Client, url: str, at_most: int, grow: Callable[[], object], **headers: str) -> None:
    """Hold a page to `at_most` queries, and to not one more after `grow` has been called five times.

    `grow` adds one row of what the page lists, each time another one; have at least one there before. When the
    budget is broken the queries are printed, the repeated ones first.
    """
    before = queries_of(client, url, **headers)
    assert len(before) <= at_most, _listing(f"{url} asks {len(before)} times, at most {at_most} allowed", before)
    for _ in range(5):
        grow()
    after = queries_of(client, url, **headers)
    assert len(after) <= len(before), _listing(
        f"{url} asks {len(after)} times with five more rows, {len(before)} before", after
    )


def _listing(heading: str, queries: list[str]) -> str:
    counted = Counter(queries).most_common()
    return "\n".join([heading, *(f"{times} × {sql}" for sql, times in counted)])
