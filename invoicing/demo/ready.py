"""Making the demo's database ready: migrated, and never one that other migration files made.

The demo is the only book there is before the first release, and the first migrations are rewritten until then. A demo
of before is set aside, whole, and loaded anew; a garage's own book is never touched.
"""

import datetime as dt
import shutil
from collections.abc import Callable
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import OperationalError, connection
from django.db.migrations.recorder import MigrationRecorder

from garage import schema, sqlite
from garage.errors import Refused
from invoicing.demo.load import is_loaded, refuse_a_book

OLDER = "This demo was made by another version of Sumpbook, whose tables differ."
KEY = "secret_key"


def make_ready(*, today: dt.date, say: Callable[[str], object]) -> None:
    """Bring the database to today's schema; first set an older demo aside, with a line that says so.

    Raises Refused, with nothing changed, for a database that holds anything but the demo, for an older demo that is
    in use, and for one that is no file of the data directory.
    """
    if MigrationRecorder(connection).applied_migrations():
        if not is_loaded():
            refuse_a_book()
        if schema.rewritten(connection):
            kept = _set_aside(today)
            say(f"{OLDER} It is kept as it was in {kept}; a new one is loaded.")
    call_command("migrate", verbosity=0, interactive=False)


def _set_aside(today: dt.date) -> Path:
    """Move what the data directory holds into a new one beside it; the secret key stands in both."""
    directory, database = Path(settings.DATA_DIR), Path(connection.settings_dict["NAME"])
    if connection.vendor != "sqlite" or database.parent != directory:
        raise Refused(f"{OLDER} It stays as it is.")
    _close_for_all()
    try:
        kept = _new_beside(directory, today)
        # The database goes last: broken off before, the next try finds it and goes on.
        for entry in sorted(directory.iterdir(), key=lambda entry: entry == database):
            if entry.name == KEY:
                shutil.copy2(entry, kept)
            else:
                entry.rename(kept / entry.name)
    except OSError as error:
        raise Refused(f"{OLDER} It could not be set aside ({error.strerror}): move {directory} away.") from error
    sqlite.make_database(database)
    return kept


def _close_for_all() -> None:
    """Bring the write-ahead log into the file and leave it; Refused while any other process has it open."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA busy_timeout = 1000")
            cursor.execute("PRAGMA journal_mode = delete")
    except OperationalError:
        raise Refused(f"{OLDER} It is still open: stop the Sumpbook that runs it (Ctrl-C), then try again.") from None
    finally:
        connection.close()


def _new_beside(directory: Path, today: dt.date) -> Path:
    """Make an empty directory that carries the name and the day, and a number where that one is taken."""
    name, number = f"{directory.name}-{today:%Y-%m-%d}", 1
    while (beside := directory.with_name(name if number == 1 else f"{name}-{number}")).exists():
        number += 1
    beside.mkdir(mode=0o700)
    return beside
