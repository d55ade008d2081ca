"""The promises of the data that `books_check` verifies; each app registers its own checks."""

from collections.abc import Callable, Iterable, Iterator

Check = Callable[[], Iterable[str]]
_checks: dict[str, Check] = {}


def register(name: str, check: Check) -> None:
    """Add a check: it yields one sentence for each breach, naming the record and what to do."""
    _checks[name] = check


def names() -> list[str]:
    """The promises, in the order they are checked."""
    return list(_checks)


def run() -> Iterator[tuple[str, list[str]]]:
    """Check every promise; give each one's name and its breaches (none when it holds).

    Where others may be writing, within `reading.one_moment()`: a check compares several tables.
    """
    for name, check in _checks.items():
        yield name, list(check())
