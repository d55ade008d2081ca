"""What Django's migrations cannot express: append-only triggers and the full-text index.

Installed after every `migrate`, idempotently: on SQLite a later migration may rebuild a table, which drops its
triggers without a word, so a one-time migration would not be enough. `books_check` verifies that they stand.
"""

from collections.abc import Iterator

from django.db.backends.base.base import BaseDatabaseWrapper

from garage.ledger import sealed_models

SEARCH_TABLE = "garage_searchentry"
FULL_TEXT_TABLE = "garage_searchtext"


def trigger_names(table: str, vendor: str) -> list[str]:
    """The triggers that guard one append-only table."""
    acts = ["update", "delete"] if vendor == "sqlite" else ["update", "delete", "truncate"]
    return [f"{table}_no_{act}" for act in acts]


def _sqlite_guard(table: str) -> Iterator[str]:
    for act in ("UPDATE", "DELETE"):
        yield (
            f'CREATE TRIGGER IF NOT EXISTS "{table}_no_{act.lower()}" BEFORE {act} ON "{table}" '
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        )


def _postgres_guard(table: str) -> Iterator[str]:
    yield (
        "CREATE OR REPLACE FUNCTION sumpbook_append_only() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME; END $$"
    )
    for act in ("UPDATE", "DELETE", "TRUNCATE"):
        yield (
            f'CREATE OR REPLACE TRIGGER "{table}_no_{act.lower()}" BEFORE {act} ON "{table}" '
            "FOR EACH STATEMENT EXECUTE FUNCTION sumpbook_append_only()"
        )


def _sqlite_search() -> Iterator[str]:
    columns = "title, subtitle, words"
    new, old = "new.id, new.title, new.subtitle, new.words", "old.id, old.title, old.subtitle, old.words"
    forget = f"INSERT INTO {FULL_TEXT_TABLE}({FULL_TEXT_TABLE}, rowid, {columns}) VALUES ('delete', {old});"
    add = f"INSERT INTO {FULL_TEXT_TABLE}(rowid, {columns}) VALUES ({new});"
    yield (
        f"CREATE VIRTUAL TABLE IF NOT EXISTS {FULL_TEXT_TABLE} USING fts5({columns}, content='{SEARCH_TABLE}', "
        "content_rowid='id', tokenize='unicode61 remove_diacritics 2', prefix='2 3 4')"
    )
    for act, body in {"insert": add, "delete": forget, "update": forget + " " + add}.items():
        yield (
            f"CREATE TRIGGER IF NOT EXISTS {FULL_TEXT_TABLE}_{act} AFTER {act.upper()} ON {SEARCH_TABLE} "
            f"BEGIN {body} END"
        )


def _postgres_search() -> Iterator[str]:
    yield (
        f"CREATE INDEX IF NOT EXISTS {FULL_TEXT_TABLE}_idx ON {SEARCH_TABLE} "
        "USING gin (to_tsvector('simple', title || ' ' || subtitle || ' ' || words))"
    )


def install(connection: BaseDatabaseWrapper) -> None:
    """Create whatever trigger or index is missing."""
    sqlite = connection.vendor == "sqlite"
    existing = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for model in sealed_models():
            if model._meta.db_table in existing:
                for statement in (_sqlite_guard if sqlite else _postgres_guard)(model._meta.db_table):
                    cursor.execute(statement)
        if SEARCH_TABLE in existing:
            for statement in (_sqlite_search if sqlite else _postgres_search)():
                cursor.execute(statement)


def remove_guards(connection: BaseDatabaseWrapper) -> None:
    """Drop the append-only triggers: for a test's flush only, `install` puts them back."""
    on_table = "" if connection.vendor == "sqlite" else ' ON "{table}"'
    with connection.cursor() as cursor:
        for model in sealed_models():
            table = model._meta.db_table
            for name in trigger_names(table, connection.vendor):
                cursor.execute(f'DROP TRIGGER IF EXISTS "{name}"' + on_table.format(table=table))


def missing_guards(connection: BaseDatabaseWrapper) -> list[str]:
    """The append-only triggers that ought to stand and do not."""
    query = (
        "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        if connection.vendor == "sqlite"
        else "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        present = {row[0] for row in cursor.fetchall()}
    wanted = [n for m in sealed_models() for n in trigger_names(m._meta.db_table, connection.vendor)]
    return [name for name in wanted if name not in present]
