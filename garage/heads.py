"""The heads of the chains, kept outside the database: a book put back from an older copy, or cut off together with
its counters, proves itself whole, but not against them.

`keep` writes length and head of every chain into a file beside the database; the worker does every few minutes, and
`books_check` when all holds. `missing` asks that each head kept is still in its chain, as an ancestor of today's.
"""

import json
import logging
import os
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.db import connection
from django.utils import timezone

from garage import ledger
from garage.models import Counter

log = logging.getLogger("sumpbook.heads")

#: What `books_check` calls this promise.
PROMISE = "the heads kept outside the database are in it"


@dataclass(frozen=True)
class Kept:
    """The heads as they were kept: (length, hash) by chain, and when; `trouble` says why there are none."""

    heads: dict[str, tuple[int, str]]
    at: str = ""
    trouble: str = ""


def path() -> Path:
    """The file that holds the heads of this database: another one, in the same directory, is another book."""
    name = "chains" if connection.vendor == "sqlite" else f"chains-{connection.settings_dict['NAME']}"
    return Path(settings.DATA_DIR) / f"{name}.json"


def current() -> dict[str, tuple[int, str]]:
    """Length and head of every chain now."""
    rows = Counter.objects.filter(series__in=[f"chain:{name}" for name in ledger.chains()])
    return {row.series.removeprefix("chain:"): (row.value, row.last_hash) for row in rows}


def read() -> Kept:
    """What the file says. A file that is not there, or cannot be read, is no breach: it is said."""
    try:
        said = json.loads(path().read_text(encoding="utf-8"))
        heads = {str(name): (_length(one["length"]), str(one["head"])) for name, one in said["chains"].items()}
        if not heads:
            return Kept({}, trouble=f"The file {path()} names no head: nothing to compare with.")
        return Kept(heads, str(said["kept_at"]))
    except FileNotFoundError:
        return Kept({}, trouble=f"No heads are kept outside the database yet ({path()}): nothing to compare with.")
    except (OSError, ValueError, TypeError, KeyError, AttributeError, ArithmeticError, RecursionError) as error:
        return Kept({}, trouble=f"The heads kept in {path()} cannot be read ({error}): nothing to compare with.")


def _length(said: object) -> int:
    """How long a chain was: one that is kept has a row."""
    if not isinstance(said, int) or said < 1:
        raise ValueError(f"no chain is {said} long")
    return said


def missing(kept: Kept) -> Iterator[str]:
    """A sentence for each chain in which the head that was kept does not stand any more."""
    chains = ledger.chains()
    for name, (length, head) in kept.heads.items():
        rows = chains[name]._default_manager.filter(chain_seq=length) if name in chains else None
        found = rows.values_list("row_hash", flat=True).first() if rows is not None else None
        if found != head:
            is_gone = "is not in the book" if found is None else "is another one in the book"
            yield (
                f"{name} chain: row {length}, its last on {kept.at}, {is_gone}: an older copy was put back, or rows "
                f"were cut off or rewritten. If you put a copy back yourself, move {path()} away and check again."
            )


def keep() -> bool:
    """Write today's heads into the file, aside and then in its place; say whether that was done.

    Heads that are missing from the book are never overwritten: they are the evidence.
    """
    now = current()  # read first: what is added meanwhile only makes these heads older
    kept = read()
    if any(missing(kept)):
        log.warning("the heads in %s are not in this book: run manage.py books_check", path())
        return False
    if kept.trouble and path().exists():
        log.warning(kept.trouble)  # written anew below: whoever reads the log hears that the old ones are lost
    chains = {name: {"length": length, "head": head} for name, (length, head) in sorted(now.items())}
    content = json.dumps({"kept_at": timezone.now().isoformat(timespec="seconds"), "chains": chains}, indent=1)
    try:
        _write(content)
    except OSError:
        log.exception("the heads of the chains could not be kept")
        return False
    return True


def _write(content: str) -> None:
    number, aside = tempfile.mkstemp(prefix=".chains-", dir=path().parent)
    try:
        with os.fdopen(number, "w", encoding="utf-8") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(aside, path())
    except OSError:
        Path(aside).unlink(missing_ok=True)
        raise
