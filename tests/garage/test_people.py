"""Who may log in: roles, passwords, sessions that end. The numbers in brackets are requirements of OWASP ASVS 5.0."""

import datetime as dt
from collections.abc import Callable

import pytest
from django.contrib.auth import get_user_model
from django.test import Client
from django.urls import reverse

from garage.actions.people import add_person, change_own_password, change_person, set_password
from garage.clock import fixed
from garage.errors import Refused
from garage.models import AuditEntry, User

Login = Callable[[str], Client]
GOOD = "three wet dipsticks"


def new(now: dt.datetime, **more: str) -> User:
    given = {"username": "runa", "name": "Runa Holt", "role": "technician", "password": GOOD, **more}
    return add_person(actor=None, clock=fixed(now), **given)


def test_somebody_new_may_log_in_with_their_role(people: dict[str, User], now: dt.datetime) -> None:
    row = new(now)
    assert row.check_password(GOOD) and row.role == "technician" and not row.is_staff and not row.is_superuser
    assert GOOD not in str(AuditEntry.objects.latest("pk").told)


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"username": "Owner"}, "username"),
        ({"role": "king"}, "role"),
        ({"password": "short"}, "password"),
        ({"password": "password123"}, "password"),
        ({"password": "x y" * 50}, "password"),
        ({"password": "Sumpbook2026"}, "password"),
        ({"password": "our-garage-1"}, "password"),
        ({"username": "dipstick99", "password": "dipstick99"}, "password"),
    ],
)  # [6.2.1, 6.2.4]
def test_what_is_no_good_login_is_refused(people: dict[str, User], now: dt.datetime, given: dict, field: str) -> None:
    with pytest.raises(Refused) as caught:
        new(now, **given)
    assert caught.value.field == field
    assert User.objects.count() == len(people)


def test_somebody_stays_owner(people: dict[str, User], now: dt.datetime) -> None:
    owner = people["owner"]
    for role, active in (("counter", True), ("owner", False)):
        with pytest.raises(Refused, match="needs an owner"):
            change_person(person=owner, name="O", role=role, is_active=active, actor=owner, clock=fixed(now))
    owner.refresh_from_db()
    assert owner.role == "owner" and owner.is_active


def test_a_change_of_role_leaves_old_and_new_in_the_trail(people: dict[str, User], now: dt.datetime) -> None:
    change_person(
        person=people["reader"],
        name="Ada Brook",
        role="counter",
        is_active=True,
        actor=people["owner"],
        clock=fixed(now),
    )
    details = AuditEntry.objects.latest("pk").told
    assert details["changed"] == {"name": ["Reader Test", "Ada Brook"], "role": ["reader", "counter"]}


def test_without_a_login_the_sessions_end_at_once(
    shop: object, login: Login, people: dict[str, User], now: dt.datetime
) -> None:  # [7.4.2]
    client = login("counter")
    assert client.get(reverse("customers")).status_code == 200
    change_person(person=people["counter"], name="C", role="counter", is_active=False, actor=None, clock=fixed(now))
    assert client.get(reverse("customers")).status_code == 302


def test_a_new_password_ends_the_sessions(
    shop: object, login: Login, people: dict[str, User], now: dt.datetime
) -> None:
    client = login("counter")
    set_password(person=people["counter"], password=GOOD, actor=people["owner"], clock=fixed(now))
    assert client.get(reverse("customers")).status_code == 302


@pytest.mark.parametrize(
    ("old", "new_one", "field"), [("wrong", GOOD, "old"), ("correct-horse", "short", "new"), ("", GOOD, "old")]
)
def test_ones_own_password_needs_the_old_one(
    people: dict[str, User], now: dt.datetime, old: str, new_one: str, field: str
) -> None:
    with pytest.raises(Refused) as caught:
        change_own_password(actor=people["reader"], old=old, new=new_one, clock=fixed(now))
    assert caught.value.field == field


# The pages


def test_the_owner_sees_everybody(shop: object, login: Login) -> None:
    html = login("owner").get(reverse("people")).content.decode()
    assert all(f"{role} Test" in html for role in ("Owner", "Counter", "Technician", "Reader"))


def test_the_owner_gives_a_login(shop: object, login: Login) -> None:
    sent = {"name": "Runa Holt", "username": "runa", "password": GOOD, "role": "technician", "email": ""}
    assert login("owner").post(reverse("person-new"), sent).status_code == 303
    assert Client().post(reverse("login"), {"username": "runa", "password": GOOD}).status_code == 302


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"username": "owner"}, "is taken"),
        ({"username": "ru na"}, "without spaces"),
        ({"password": "short"}, "too short"),
        ({"role": "king"}, "is not on the list"),
        ({"name": ""}, "Write their name."),
        ({"is_superuser": "1", "password": ""}, "Write a password."),
    ],
)
def test_bad_input_is_said_and_kept(shop: object, login: Login, wrong: dict[str, str], sentence: str) -> None:
    sent = {"name": "Runa Holt", "username": "runa", "password": GOOD, "role": "technician", "email": "r@example.com"}
    response = login("owner").post(reverse("person-new"), {**sent, **wrong})
    html = response.content.decode()
    assert response.status_code == 422 and sentence in html and "r@example.com" in html
    assert GOOD not in html, "a password is never sent back"
    assert not User.objects.filter(username="runa").exists()


def test_nobody_becomes_superuser_by_a_form(shop: object, login: Login) -> None:  # [15.3.3]
    sent = {"name": "R", "username": "runa", "password": GOOD, "role": "reader", "is_superuser": "1", "is_staff": "1"}
    login("owner").post(reverse("person-new"), sent)
    row = User.objects.get(username="runa")
    assert not row.is_superuser and not row.is_staff


def test_the_owner_changes_somebody(shop: object, login: Login, people: dict[str, User]) -> None:
    url = reverse("person-edit", args=[people["reader"].pk])
    assert "Reader Test" in login("owner").get(url).content.decode()
    assert login("owner").post(url, {"name": "Ada Brook", "role": "counter", "email": ""}).status_code == 303
    row = User.objects.get(pk=people["reader"].pk)
    assert (row.name, row.role, row.is_active) == ("Ada Brook", "counter", False)


def test_the_last_owner_is_told_why_not(shop: object, login: Login, people: dict[str, User]) -> None:
    url = reverse("person-edit", args=[people["owner"].pk])
    response = login("owner").post(url, {"name": "Olga", "role": "counter", "is_active": "on"})
    html = response.content.decode()
    assert response.status_code == 422 and "needs an owner" in html and "Olga" in html


def test_the_owner_sets_a_password(shop: object, login: Login, people: dict[str, User]) -> None:
    url = reverse("person-password", args=[people["reader"].pk])
    assert login("owner").post(url, {"password": "x"}).status_code == 422
    assert login("owner").post(url, {"password": GOOD}).status_code == 303
    assert User.objects.get(pk=people["reader"].pk).check_password(GOOD)


@pytest.mark.parametrize("name", ["person-edit", "person-password"])
def test_nobody_there_is_404(shop: object, login: Login, name: str) -> None:
    assert login("owner").get(reverse(name, args=[4711])).status_code == 404


@pytest.mark.parametrize("role", ["counter", "technician", "reader"])
def test_the_pages_are_the_owners(shop: object, login: Login, people: dict[str, User], role: str) -> None:
    pk = people["owner"].pk
    for url in (reverse("people"), reverse("person-new"), reverse("person-edit", args=[pk])):
        assert login(role).get(url).status_code == 403
    assert login(role).post(reverse("person-password", args=[pk]), {"password": GOOD}).status_code == 403


# One's own password


def test_one_changes_ones_own_password_and_stays_logged_in(shop: object, login: Login) -> None:  # [7.4.3]
    here, elsewhere = login("technician"), login("technician")
    sent = {"old": "correct-horse", "new": GOOD, "again": GOOD}
    assert here.post(reverse("own-password"), sent).status_code == 303
    assert here.get(reverse("own-password")).status_code == 200
    assert elsewhere.get(reverse("own-password")).status_code == 302


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"old": "nope"}, "That is not your password."),
        ({"again": "something else"}, "Not the same as above."),
        ({"new": "short", "again": "short"}, "too short"),
    ],
)
def test_a_bad_change_of_password_is_said(shop: object, login: Login, wrong: dict[str, str], sentence: str) -> None:
    sent = {"old": "correct-horse", "new": GOOD, "again": GOOD, **wrong}
    response = login("reader").post(reverse("own-password"), sent)
    assert response.status_code == 422 and sentence in response.content.decode()
    assert GOOD not in response.content.decode()


def test_password_managers_find_their_fields(shop: object, login: Login) -> None:  # [6.2.7]
    html = login("reader").get(reverse("own-password")).content.decode()
    assert all(f'autocomplete="{token}"' in html for token in ("username", "current-password", "new-password"))


def test_the_database_keeps_a_strong_hash(db: None, settings) -> None:  # [6.6, 11.4.2]
    """OWASP password storage: Argon2id with at least 19 MiB and two rounds."""
    settings.PASSWORD_HASHERS = ["garage.passwords.Argon2"]
    user = get_user_model()(username="x")
    user.set_password(GOOD)
    kind, _version, parameters = user.password.removeprefix("argon2$").split("$")[:3]
    costs = dict(pair.split("=") for pair in parameters.split(","))
    assert kind == "argon2id" and int(costs["m"]) >= 19456 and int(costs["t"]) >= 2
