"""What everything stands on: the database's settings, exact numbers, numbers without gap, one act for a double tap."""

import datetime as dt
import sqlite3
import threading
import uuid
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import connection, transaction
from django.db.models import Sum
from hypothesis import given
from hypothesis import strategies as st

from garage import checks, counters, database, secretkey, sqlite
from garage import settings as production
from garage.clock import Clock, fixed
from garage.fields import MoneyField, QuantityField, UnitPriceField
from garage.forms import QuantityFormField, Typed
from garage.idempotency import KeyReused, once
from garage.models import User
from garage.passwords import Argon2
from garage.writing import writing
from parts.models import Item

on_sqlite = pytest.mark.skipif("sqlite" not in settings.DATABASES["default"]["ENGINE"], reason="speaks of SQLite")


class TestDatabase:
    @on_sqlite
    def test_each_connection_holds_the_pragmas(self, db: None) -> None:
        assert checks.sqlite_pragmas(None, databases=["default"]) == []
        with connection.cursor() as cursor:
            assert cursor.execute("PRAGMA synchronous").fetchone()[0] == 2, "FULL: a printed number never comes again"
            assert cursor.execute("PRAGMA journal_mode").fetchone()[0] == "wal"

    @on_sqlite
    def test_a_lost_pragma_is_reported(self, db: None, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(settings, "SQLITE_PRAGMAS", {**settings.SQLITE_PRAGMAS, "cache_size": -1})
        [error] = checks.sqlite_pragmas(None, databases=["default"])
        assert error.id == "garage.E001"

    @on_sqlite
    def test_this_sqlite_is_free_of_the_log_reset_fault(self) -> None:
        assert checks.sqlite_build(None) == []
        assert sqlite3.sqlite_version_info >= (3, 51, 3)

    @pytest.mark.parametrize(
        ("version", "fixed"),
        [((3, 40, 1), False), ((3, 51, 2), False), ((3, 51, 3), True), ((3, 44, 6), True), ((3, 44, 5), False)],
    )
    def test_the_faulty_versions_are_known(self, version: tuple[int, int, int], fixed: bool) -> None:
        """sqlite.org's notes on 3.51.3 and its back-ports 3.44.6 and 3.50.7, seen second hand."""
        assert sqlite.is_fixed(version) is fixed

    def test_a_missing_guard_is_reported(self, db: None, monkeypatch: pytest.MonkeyPatch) -> None:
        assert checks.guards(None, databases=["default"]) == []
        monkeypatch.setattr(database, "missing_guards", lambda connection: ["parts_movement_no_update"])
        [error] = checks.guards(None, databases=["default"])
        assert (error.id, error.hint) == ("garage.E003", "Run: python manage.py migrate")

    def test_no_request_is_a_transaction_by_itself(self) -> None:
        assert settings.DATABASES["default"]["ATOMIC_REQUESTS"] is False


class TestSecretKey:
    def test_it_is_made_once_and_only_its_owner_can_read_it(self, tmp_path: Path) -> None:
        path = tmp_path / "secret_key"
        key = secretkey.read_or_create(path)
        assert len(key) >= 50
        assert path.stat().st_mode & 0o777 == 0o600
        assert secretkey.read_or_create(path) == key

    def test_a_short_key_is_refused(self, tmp_path: Path) -> None:
        path = tmp_path / "secret_key"
        path.write_text("insecure")
        with pytest.raises(ValueError, match="shorter than 50"):
            secretkey.read_or_create(path)


def test_passwords_are_kept_as_argon2id_above_the_usual_floor() -> None:
    """OWASP's password storage advice, from memory: Argon2id with at least 19 MiB and two passes."""
    encoded = Argon2().encode("correct-horse", Argon2().salt())
    assert encoded.startswith("argon2$argon2id$v=19$m=47104,t=2,p=1$")
    assert Argon2().verify("correct-horse", encoded)
    assert production.PASSWORD_HASHERS == ["garage.passwords.Argon2"]


class TestFields:
    @pytest.mark.parametrize("value", [0.1, 1.0])
    def test_a_float_never_touches_money_or_stock(self, value: float) -> None:
        with pytest.raises(TypeError, match="float"):
            MoneyField(name="amount").get_prep_value(value)

    def test_a_value_with_too_many_places_is_refused_not_rounded(self) -> None:
        with pytest.raises(ValueError, match="more than 2 places"):
            MoneyField(name="amount").get_prep_value(Decimal("0.005"))

    def test_what_64_bits_cannot_hold_is_refused(self) -> None:
        with pytest.raises(ValueError, match="too large"):
            QuantityField(name="quantity").get_prep_value(Decimal("9223372036.854775808"))

    def test_a_us_quart_is_exact(self) -> None:
        """NIST Handbook 44: 1 US liquid quart is 0.946352946 L."""
        assert QuantityField(name="quantity").get_prep_value(Decimal("0.946352946")) == 946352946

    @given(st.decimals(min_value=-(10**9), max_value=10**9, places=6))
    def test_what_is_stored_is_what_is_read(self, value: Decimal) -> None:
        field = UnitPriceField(name="price")
        assert field.from_db_value(field.get_prep_value(value), None, None) == value

    def test_sums_in_the_database_do_not_drift(self, db: None) -> None:
        """Ten times 0.1 in floating point is not 1; as integers it is."""
        for n in range(10):
            Item.objects.create(name=f"Fluid {n}", kind="fluid", base_unit="L", minimum=Decimal("0.1"))
        assert Item.objects.aggregate(total=Sum("minimum"))["total"] == Decimal(1)


class TestQuantitiesAsTyped:
    @pytest.mark.parametrize(
        ("text", "liters"),
        [
            ("0.85", "0.85"), ("0,85 L", "0.85"), ("850 ml", "0.85"), ("3/4 qt", "0.709764710"),
            ("1 1/2 gal", "5.678117676"),
        ],
    )  # fmt: skip
    def test_what_people_type_becomes_liters(self, text: str, liters: str) -> None:
        typed = QuantityFormField(base="L").clean(text)
        assert isinstance(typed, Typed)
        assert (typed.value, typed.text) == (Decimal(liters), text)


class TestNumbers:
    def test_a_rolled_back_act_gives_its_number_back(self, db: None) -> None:
        with transaction.atomic():
            counters.allocate("invoice:2031")
            transaction.set_rollback(True)
        with transaction.atomic():
            assert counters.allocate("invoice:2031") == 1

    @pytest.mark.django_db(transaction=True)
    def test_no_number_outside_a_transaction(self) -> None:
        with pytest.raises(RuntimeError, match="inside a transaction"):
            counters.allocate("invoice:2031")

    @pytest.mark.django_db(transaction=True)
    def test_four_at_once_take_forty_numbers_without_gap_or_duplicate(self) -> None:
        taken: list[int] = []

        def take() -> None:
            for _ in range(10):
                with writing():
                    number = counters.allocate("invoice:2032")
                taken.append(number)
            connection.close()

        threads = [threading.Thread(target=take) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert sorted(taken) == list(range(1, 41))


class TestDoubleTap:
    """`once`: the same key and words are a repeat, the same key and other words are another act."""

    @staticmethod
    def verb(done: list[str], action: str = "name") -> Callable[..., User]:
        @once(action, User)
        def name_owner(
            *,
            key: uuid.UUID | None,
            owner: User,
            name: str,
            price: Decimal = Decimal("1.5"),
            actor: User | None,
            clock: Clock,
        ) -> User:
            if name == "refused":
                raise ValueError("not now")
            done.append(name)
            return owner

        return name_owner

    @pytest.fixture
    def given(self, people: dict[str, User], now: dt.datetime) -> dict[str, Any]:
        return {"key": uuid.uuid4(), "owner": people["owner"], "name": "Una", "actor": None, "clock": fixed(now)}

    def test_a_repeat_gives_the_first_answer(self, given: dict[str, Any], now: dt.datetime) -> None:
        done: list[str] = []
        verb = self.verb(done)
        later = {"clock": fixed(now + dt.timedelta(hours=1)), "actor": given["owner"], "price": Decimal("1.50")}
        assert verb(**given) == verb(**{**given, **later}) == given["owner"]
        assert done == ["Una"]

    @pytest.mark.parametrize("other", [{"name": "Piet"}, {"price": Decimal("15")}])
    def test_a_key_sent_again_with_other_words_is_refused(self, given: dict[str, Any], other: dict[str, Any]) -> None:
        done: list[str] = []
        verb = self.verb(done)
        verb(**given)
        with pytest.raises(KeyReused, match="is not: copy it, open the page again"):
            verb(**{**given, **other})
        assert done == ["Una"]

    def test_a_key_is_good_for_one_kind_of_act(self, given: dict[str, Any]) -> None:
        self.verb([])(**given)
        with pytest.raises(KeyReused):
            self.verb([], "other")(**given)

    def test_an_act_that_fails_leaves_its_key_free(self, given: dict[str, Any]) -> None:
        done: list[str] = []
        with pytest.raises(ValueError, match="not now"):
            self.verb(done)(**{**given, "name": "refused"})
        assert self.verb(done)(**given) == given["owner"]
        assert done == ["Una"]

    def test_within_another_verb_it_needs_no_key(self, given: dict[str, Any]) -> None:
        done: list[str] = []
        for _ in range(2):
            self.verb(done)(**{**given, "key": None})
        assert done == ["Una", "Una"]
