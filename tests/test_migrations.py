"""Migrations: none is missing, each has a name that says what it does, and an empty database gets its guards."""

import re
from io import StringIO

from django.apps import apps
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader

from garage import database

APPS = ("garage", "parts", "jobs", "invoicing")


def names(loader: MigrationLoader) -> list[tuple[str, str]]:
    return sorted(key for key in loader.disk_migrations if key[0] in APPS)


def test_no_change_of_a_model_waits_for_a_migration(db: None) -> None:
    out = StringIO()
    call_command("makemigrations", check=True, dry_run=True, stdout=out)
    assert "No changes detected" in out.getvalue()


def test_a_migration_says_what_it_does() -> None:
    written = names(MigrationLoader(None, ignore_no_migrations=True))
    assert {app for app, _ in written} == set(APPS)
    for app, name in written:
        assert re.fullmatch(r"\d{4}_[a-z][a-z0-9_]+", name) and "_auto_" not in name, (app, name)


def test_each_app_has_one_last_migration() -> None:
    assert MigrationLoader(None, ignore_no_migrations=True).detect_conflicts() == {}


def test_an_empty_database_gets_every_table_and_its_guards(transactional_db: None) -> None:
    call_command("migrate", "invoicing", "zero", verbosity=0)
    call_command("migrate", "jobs", "zero", verbosity=0)
    call_command("migrate", "parts", "zero", verbosity=0)
    assert not any(table.startswith(("parts_", "jobs_", "invoicing_")) for table in tables())
    call_command("migrate", verbosity=0)
    executor = MigrationExecutor(connection)
    assert executor.migration_plan(executor.loader.graph.leaf_nodes()) == []
    assert {model._meta.db_table for model in apps.get_models() if model._meta.managed} <= set(tables())
    assert database.missing_guards(connection) == []
    assert database.FULL_TEXT_TABLE in tables() or connection.vendor != "sqlite"


def tables() -> list[str]:
    return connection.introspection.table_names()
