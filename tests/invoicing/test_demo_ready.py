"""`manage.py demo` in a data directory of its own: a demo that other migration files made is set aside, whole.

The command runs as it is typed, in a process of its own; only the three years of visits (a minute) are left out.
"""

import datetime as dt
import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
WITHOUT_HISTORY = """
import django
django.setup()
from django.core.management import execute_from_command_line
from invoicing.demo import load
load.tell = lambda scripts, until: None
execute_from_command_line(["manage.py", "demo"])
"""
LOADED = "The demo garage is loaded.\n"
OLDER = "This demo was made by another version of Sumpbook, whose tables differ."


class Demo:
    """A data directory, what is typed for it and what its database holds."""

    def __init__(self, directory: Path) -> None:
        self.directory = directory
        self.database = directory / "sumpbook.sqlite3"
        self.environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
        self.environment |= {"SUMPBOOK_DATA": str(directory), "DJANGO_SETTINGS_MODULE": "garage.settings"}

    def type(self, *words: str) -> "subprocess.CompletedProcess[str]":
        return subprocess.run(
            [sys.executable, *words], cwd=ROOT, env=self.environment, capture_output=True, text=True, timeout=120
        )

    def load(self) -> "subprocess.CompletedProcess[str]":
        return self.type("-c", WITHOUT_HISTORY)

    def sql(self, statement: str) -> list[tuple[object, ...]]:
        with closing(sqlite3.connect(self.database)) as book, book:
            return book.execute(statement).fetchall()

    def grow_old(self) -> None:
        """As if the file of today that made the shelf's tables were not the one that made them."""
        self.sql("UPDATE sumpbook_migration SET sha256 = 'of another file' WHERE app = 'parts'")

    def kept(self) -> list[Path]:
        """What was set aside, oldest first."""
        return sorted(path for path in self.directory.parent.iterdir() if path != self.directory)


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data directory that was empty when `demo` was typed."""
    demo = Demo(tmp_path_factory.mktemp("loaded"))
    done = demo.load()
    assert done.returncode == 0 and LOADED in done.stdout and OLDER not in done.stdout, done.stderr
    return demo.directory


@pytest.fixture(scope="module")
def migrated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data directory with tables and nothing in them."""
    demo = Demo(tmp_path_factory.mktemp("migrated"))
    assert demo.type("manage.py", "migrate", "-v0").returncode == 0
    return demo.directory


@pytest.fixture
def demo(loaded: Path, tmp_path: Path) -> Demo:
    return Demo(shutil.copytree(loaded, tmp_path / "data" / "demo"))


@pytest.fixture
def empty(migrated: Path, tmp_path: Path) -> Demo:
    return Demo(shutil.copytree(migrated, tmp_path / "data" / "demo"))


def test_a_demo_of_todays_files_is_left_as_it_is(demo: Demo) -> None:
    assert demo.load().stdout == "The demo garage is loaded already.\n"
    assert not demo.kept()


def test_a_demo_of_other_migration_files_is_kept_aside_and_loaded_anew(demo: Demo) -> None:
    demo.sql("UPDATE garage_shopprofile SET name = 'The older demo'")
    (demo.directory / "media").mkdir()
    (demo.directory / "media" / "photo").write_text("of the older demo")
    key = (demo.directory / "secret_key").read_text()
    demo.grow_old()

    done = demo.load()
    assert done.returncode == 0, done.stderr
    (kept,) = demo.kept()
    assert kept.name == f"demo-{dt.date.fromisoformat(kept.name.removeprefix('demo-'))}"
    said = done.stdout.splitlines()[0]
    assert said == f"{OLDER} It is kept as it was in {kept}; a new one is loaded." and LOADED in done.stdout
    assert Demo(kept).sql("SELECT name FROM garage_shopprofile") == [("The older demo",)]
    assert (kept / "media" / "photo").read_text() == "of the older demo"
    assert not (demo.directory / "media").exists()
    assert demo.sql("SELECT name FROM garage_shopprofile") not in ([], [("The older demo",)])
    assert not demo.sql("SELECT 1 FROM sumpbook_migration WHERE sha256 = 'of another file'")
    assert {(place / "secret_key").read_text() for place in (kept, demo.directory)} == {key}  # logins go on


def test_a_demo_from_before_the_files_were_written_down_is_kept_beside_one_kept_earlier(demo: Demo) -> None:
    demo.sql("DROP TABLE sumpbook_migration")
    for day in (0, 1):  # midnight may pass while the test runs
        demo.directory.with_name(f"demo-{dt.datetime.now(dt.UTC).date() + dt.timedelta(day):%Y-%m-%d}").mkdir()
    assert OLDER in demo.load().stdout
    assert [path.name[15:] for path in demo.kept() if any(path.iterdir())] == ["-2"]


def test_a_load_that_was_broken_off_under_other_files_is_set_aside_too(empty: Demo) -> None:
    empty.grow_old()
    assert OLDER in empty.load().stdout and len(empty.kept()) == 1


def test_an_older_demo_that_is_still_open_is_left_where_it_is(demo: Demo) -> None:
    demo.grow_old()
    with closing(sqlite3.connect(demo.database)) as somebody:
        somebody.execute("SELECT name FROM garage_shopprofile").fetchone()
        done = demo.load()
    assert done.returncode == 1 and "It is still open: stop the Sumpbook that runs it (Ctrl-C)" in done.stderr
    assert not demo.kept()
    assert demo.sql("SELECT count(*) FROM garage_user") == [(4,)]


@pytest.mark.parametrize("older", [False, True])
def test_a_garages_own_book_is_never_touched(empty: Demo, older: bool) -> None:
    empty.sql(
        "INSERT INTO parts_supplier (name, account, phone, email, address, notes, version) "
        "VALUES ('Tollgate Supply', '', '', '', '', '', 1)"
    )
    if older:
        empty.grow_old()
    files = {path: path.read_bytes() for path in empty.directory.iterdir()}
    done = empty.load()
    assert done.returncode == 1
    assert "This database holds 1 supplier: the demo is only loaded into an empty one." in done.stderr
    assert {path: path.read_bytes() for path in empty.directory.iterdir()} == files and not empty.kept()
