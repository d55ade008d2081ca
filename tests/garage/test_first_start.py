"""A new data directory that several processes open at the same moment: all find the same key and a whole database."""

import json
import os
import sqlite3
import subprocess
import sys
import time
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import pytest

from garage import sqlite
from garage.firststart import alone

ROOT = Path(__file__).resolve().parents[2]

#: A process that waits at a gate until all are there, then does its part in one new directory after the other, each
#: at the moment at which all the others do.
GATE = """
import sys, time
from pathlib import Path
from garage import secretkey, sqlite
sqlite.use_fixed_build()
import sqlite3
homes = [Path(line) for line in sys.stdin.readline().split()]
print("ready", flush=True)
start = float(sys.stdin.readline())
for number, home in enumerate(homes):
    time.sleep(max(0, start + number / 50 - time.time()))
    {part}
"""
READS_THE_KEY = 'print(secretkey.read_or_create(home / "secret_key"), flush=True)'
OPENS_THE_DATABASE = """
    sqlite.make_database(home / "book.sqlite3")
    connection = sqlite3.connect(home / "book.sqlite3", timeout=20)
    print(connection.execute("PRAGMA journal_mode=wal").fetchone()[0], flush=True)
"""
TOGETHER = 8


def all_at_once(part: str, homes: Sequence[Path]) -> list[list[str]]:
    """Let eight processes do `part` in each of the directories as nearly together as can be; give what each printed."""
    running = [
        subprocess.Popen(
            [sys.executable, "-c", GATE.format(part=part.strip())],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(TOGETHER)
    ]
    for process in running:
        assert process.stdin and process.stdout
        process.stdin.write(" ".join(map(str, homes)) + "\n")
        process.stdin.flush()
        assert process.stdout.readline() == "ready\n"
    start = time.time() + 0.1
    for process in running:
        assert process.stdin
        process.stdin.write(f"{start}\n")
        process.stdin.flush()
    said = [process.communicate(timeout=60) for process in running]
    assert not any(wrong for _out, wrong in said), "\n".join(wrong for _out, wrong in said if wrong)
    return [out.split() for out, _wrong in said]


@pytest.fixture
def homes(tmp_path: Path) -> list[Path]:
    made = [tmp_path / f"{number}" for number in range(100)]
    for home in made:
        home.mkdir()
    return made


def test_many_processes_at_once_get_one_same_key(homes: list[Path]) -> None:
    for keys, home in zip(zip(*all_at_once(READS_THE_KEY, homes), strict=True), homes, strict=True):
        assert len(keys) == TOGETHER and set(keys) == {(home / "secret_key").read_text().strip()}
        assert [file.name for file in home.iterdir()] == ["secret_key"]  # nothing written aside is left over
        assert (home / "secret_key").stat().st_mode & 0o777 == 0o600


def test_many_processes_at_once_open_a_new_database_and_none_finds_it_locked(homes: list[Path]) -> None:
    for modes in all_at_once(OPENS_THE_DATABASE, homes):
        assert modes == ["wal"] * len(homes)


def typed(words: Sequence[str], home: Path, **environment: str) -> "subprocess.Popen[bytes]":
    """A command typed for a data directory of its own, with the program's own settings unless others are named."""
    others = {
        name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "DJANGO_SETTINGS_MODULE"}
    }
    own = {"SUMPBOOK_DATA": str(home / "book"), **environment}
    return subprocess.Popen([sys.executable, "manage.py", *words], cwd=ROOT, env=others | own)


def collect(home: Path, *words: str) -> "subprocess.Popen[bytes]":
    """Collect the static files into the data directory."""
    settings = {"DJANGO_SETTINGS_MODULE": "tests.browser.settings"}
    return typed(["collectstatic", "--no-input", "-v0", *words], home, **settings)


def test_two_that_migrate_a_new_data_directory_at_once_both_succeed(tmp_path: Path) -> None:
    both = [typed(["migrate", "-v0"], tmp_path) for _ in range(2)]
    assert [process.wait(120) for process in both] == [0, 0]
    assert typed(["check", "--database", "default"], tmp_path).wait(60) == 0  # every trigger stands


def test_a_migration_that_was_broken_off_before_its_triggers_is_taken_up_again(tmp_path: Path) -> None:
    """The check that misses them says to type `migrate`, which must then do it."""
    assert typed(["migrate", "-v0"], tmp_path).wait(120) == 0
    with closing(sqlite3.connect(tmp_path / "book" / "sumpbook.sqlite3")) as book:
        (trigger,) = book.execute("SELECT min(name) FROM sqlite_master WHERE type = 'trigger'").fetchone()
        book.execute(f'DROP TRIGGER "{trigger}"')
    assert typed(["check", "--database", "default"], tmp_path).wait(60) == 1
    assert typed(["migrate", "-v0"], tmp_path).wait(60) == 0
    assert typed(["check", "--database", "default"], tmp_path).wait(60) == 0


def test_a_command_starts_while_another_process_writes_for_long(tmp_path: Path) -> None:
    assert typed(["check"], tmp_path).wait(60) == 0  # makes the database
    with closing(sqlite3.connect(tmp_path / "book" / "sumpbook.sqlite3", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        assert typed(["check", "--database", "default"], tmp_path).wait(60) == 0


def test_static_files_are_collected_by_one_process_while_the_others_wait(tmp_path: Path) -> None:
    (tmp_path / "book" / "static").mkdir(parents=True)
    waiting: list[subprocess.Popen[bytes]] = []
    with alone(tmp_path / "book" / "static"):
        waiting.append(collect(tmp_path, "--dry-run"))
        with pytest.raises(subprocess.TimeoutExpired):
            waiting[0].wait(5)
    assert waiting[0].wait(60) == 0


def test_the_list_of_static_files_is_there_while_they_are_collected_again(tmp_path: Path) -> None:
    assert collect(tmp_path).wait(60) == 0
    listed = tmp_path / "book" / "static" / "staticfiles.json"
    again, looked = collect(tmp_path), 0
    while again.poll() is None:
        assert json.loads(listed.read_bytes())["paths"]
        looked += 1
    assert again.returncode == 0 and looked > 100
    assert not [path for path in listed.parent.iterdir() if path.name.startswith(".")]  # nothing written aside is left


def test_a_database_that_stands_is_left_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "book.sqlite3").write_bytes(b"a garage's own")
    sqlite.make_database(tmp_path / "book.sqlite3")
    assert (tmp_path / "book.sqlite3").read_bytes() == b"a garage's own"
