"""The promises of the data that `books_check` verifies; each app registers its own checks."""

from collections.abc import Callable, Iterable, Iterator

from django.core.exceptions import ObjectDoesNotExist

#: What a check comes upon in a row that the program would never have written.
STRANGE = (ArithmeticError, AttributeError, LookupError, ObjectDoesNotExist, TypeError, ValueError)

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
        yield name, list(_breaches(check))


def _breaches(check: Check) -> Iterator[str]:
    """What a check finds. A row changed behind the program's back may be no row it can read: that is a breach too,
    and keeps no other promise from being checked."""
    try:
        yield from check()
    except STRANGE as error:
        yield f"a row holds what the program never wrote, the rest was not checked ({type(error).__name__}: {error})"
