"""`manage.py demo` where there is no demo: a book in use is left alone, and the logins are no secret."""

import pytest
from django.core.management import CommandError, call_command

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
