"""System checks that speak to the operator: is the database the one this program's promises need?"""

import sqlite3
from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning
from django.core.checks import register as register_check
from django.db import connection

from garage import database, sqlite

#: The tag of the check that `migrate` does without, since it puts right what the check finds.
GUARDS = "guards"


def sqlite_build(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Warn when SQLite has the log-reset fault."""
    if connection.vendor != "sqlite" or sqlite.is_fixed(sqlite3.sqlite_version_info):
        return []
    return [
        Warning(
            f"SQLite {sqlite3.sqlite_version} can lose a commit when two processes write at once.",
            hint="Install the pysqlite3 wheel (pip install pysqlite3), a SQLite from 3.51.3 on, or use PostgreSQL.",
            id="garage.W001",
        )
    ]


def sqlite_pragmas(app_configs: Any, databases: Sequence[str] | None = None, **kwargs: Any) -> list[CheckMessage]:
    """Refuse to run when a connection does not hold the pragmas that the settings ask for."""
    if not databases or connection.vendor != "sqlite":
        return []
    problems: list[CheckMessage] = []
    in_memory = connection.is_in_memory_db()  # type: ignore[attr-defined]
    with connection.cursor() as cursor:
        for name, wanted in {**settings.SQLITE_PRAGMAS, "foreign_keys": 1}.items():
            actual = cursor.execute(f"PRAGMA {name}").fetchone()[0]
            if actual != wanted and not (in_memory and name == "journal_mode"):
                problems.append(
                    Error(
                        f"SQLite runs with {name}={actual}, not {wanted}.",
                        hint="See settings.py.",
                        id="garage.E001",
                    )
                )
    if connection.settings_dict["OPTIONS"].get("transaction_mode") != "IMMEDIATE":
        problems.append(Error("SQLite transactions are not IMMEDIATE.", hint="See settings.py.", id="garage.E002"))
    return problems


def guards(app_configs: Any, databases: Sequence[str] | None = None, **kwargs: Any) -> list[CheckMessage]:
    """Refuse to run when an append-only trigger is missing from a migrated database."""
    if not databases or "garage_counter" not in connection.introspection.table_names():
        return []
    missing = database.missing_guards(connection)
    if not missing:
        return []
    return [
        Error(
            f"The database lacks {len(missing)} triggers that keep issued papers unchanged, such as {missing[0]}.",
            hint="Run: python manage.py migrate",
            id="garage.E003",
        )
    ]


def register() -> None:
    """Make the checks known to Django."""
    register_check(sqlite_build, Tags.database)
    register_check(sqlite_pragmas, Tags.database)
    register_check(guards, GUARDS)
