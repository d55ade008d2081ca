"""Which SQLite the program runs on.

SQLite 3.7.0 to 3.51.2 can lose a commit when two connections reset the write-ahead log at once; 3.51.3 (and the
back-ports 3.44.6 and 3.50.7) are fixed. The pysqlite3 wheel carries a fixed build, so it takes the place of the
standard library's module wherever a wheel exists. `checks.py` warns where it does not.
"""

import importlib
import sys
from pathlib import Path

from django.db.backends.base.base import BaseDatabaseWrapper

from garage.firststart import make_once

FIXED_IN = (3, 51, 3)
KNOWS_JSON = (3, 38)  # from here on JSON is part of every build (SQLite's release log)
BACK_PORTS = {(3, 44): 6, (3, 50): 7}


def use_fixed_build() -> None:
    """Put pysqlite3 in the place of sqlite3; must run before Django imports its SQLite backend."""
    try:
        pysqlite3 = importlib.import_module("pysqlite3")
    except ImportError:
        return
    sys.modules["sqlite3"] = pysqlite3
    sys.modules["sqlite3.dbapi2"] = importlib.import_module("pysqlite3.dbapi2")


def is_fixed(version: tuple[int, int, int]) -> bool:
    """Say whether this SQLite version is free of the log-reset fault."""
    back_port = BACK_PORTS.get(version[:2])
    return version >= FIXED_IN or (back_port is not None and version[2] >= back_port)


def answer_for_json(connection: BaseDatabaseWrapper) -> None:
    """Spare commands that check the database (`migrate` above all) Django's question whether SQLite knows JSON.

    It is asked within a transaction, which takes the write lock here: while another process holds it for long, as when
    the demo is loaded, the answer after the timeout is "no", and the command ends with "does not support JSONFields".
    """
    if connection.vendor == "sqlite" and sys.modules["sqlite3"].sqlite_version_info >= KNOWS_JSON:
        connection.features.supports_json_field = True


def make_database(path: Path) -> None:
    """Make an empty database in WAL mode, unless a file stands there.

    Only one connection at a time may turn that mode on: of several that find a new file, each sending the pragma, some
    are told "database is locked" at once, whatever their timeout. The mode stays in the file, so it is set before any
    other process can see it.
    """
    if path.parent.is_dir() and path.name != ":memory:":
        make_once(path, _turn_wal_on)


def _turn_wal_on(path: Path) -> None:
    connection = importlib.import_module("sqlite3").connect(path)  # the build that `use_fixed_build` has put there
    connection.execute("PRAGMA journal_mode=wal")
    connection.close()
