"""Which migration files made this database.

Django remembers the names of the migrations it applied, not what stood in them. Until the first release the first
ones are rewritten under the same name, and a database made by the files of before would be taken for one of today.
So the hash of every applied file is kept beside Django's own list.
"""

import hashlib
import inspect
from collections.abc import Iterable
from pathlib import Path

from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations import Migration
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

TABLE = "sumpbook_migration"
Plan = Iterable[tuple[Migration, bool]]


def record(connection: BaseDatabaseWrapper, app: str, plan: Plan) -> None:
    """Write down the files of one app that a `migrate` has just applied, and strike those it took back."""
    with connection.cursor() as cursor:
        cursor.execute(
            f"CREATE TABLE IF NOT EXISTS {TABLE} "
            "(app varchar(100), name varchar(200), sha256 varchar(64) NOT NULL, PRIMARY KEY (app, name))"
        )
        for migration, backwards in plan:
            if migration.app_label != app:
                continue
            cursor.execute(f"DELETE FROM {TABLE} WHERE app = %s AND name = %s", [app, migration.name])
            if not backwards:
                row = [app, migration.name, _hash(migration)]
                cursor.execute(f"INSERT INTO {TABLE} VALUES (%s, %s, %s)", row)


def rewritten(connection: BaseDatabaseWrapper) -> list[str]:
    """The applied migrations whose files are not today's: changed since, gone, or not known which."""
    today = {key: _hash(migration) for key, migration in MigrationLoader(None).disk_migrations.items()}
    made = _recorded(connection)
    applied = sorted(MigrationRecorder(connection).applied_migrations())
    return [".".join(key) for key in applied if key not in made or made[key] != today.get(key)]


def _recorded(connection: BaseDatabaseWrapper) -> dict[tuple[str, str], str]:
    if TABLE not in connection.introspection.table_names():
        return {}
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT app, name, sha256 FROM {TABLE}")
        return {(app, name): sha256 for app, name, sha256 in cursor.fetchall()}


def _hash(migration: Migration) -> str:
    return hashlib.sha256(Path(inspect.getfile(type(migration))).read_bytes()).hexdigest()
