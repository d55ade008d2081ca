"""`manage.py demo` where there is no demo: a book in use is left alone, and the logins are no secret."""

from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from garage import counters, schema
from garage.models import ShopProfile
from invoicing.demo import load
from invoicing.demo.cast import LOGINS
from invoicing.demo.load import holds_something, is_loaded


def test_a_book_that_holds_anything_is_left_alone(shop: ShopProfile) -> None:
    assert holds_something() == "1 shop profile"
    with pytest.raises(CommandError, match="holds 1 shop profile"):
        call_command("demo")
    assert not is_loaded()


def test_the_logins_are_printed_without_a_book(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("demo", "--logins")
    printed = capsys.readouterr().out.splitlines()
    assert len(printed) == 4
    assert all(login.username in line and login.password in line for login, line in zip(LOGINS, printed, strict=True))


@pytest.mark.django_db
def test_a_load_that_is_broken_off_leaves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(load, "tell", lambda scripts, until: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        call_command("demo")
    assert holds_something() == "" and not is_loaded()


@pytest.mark.django_db
def test_an_older_demo_that_is_no_file_of_the_data_directory_stays_as_it_is(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path  # as with DATABASE_URL: there is no directory to set aside
    counters.allocate(load.SERIES)
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM sumpbook_migration WHERE app = 'parts'")
    assert schema.rewritten(connection) == ["parts.0001_initial"]
    with pytest.raises(CommandError, match="made by another version.* It stays as it is. Set SUMPBOOK_DATA to an emp"):
        call_command("demo")
    assert is_loaded()
