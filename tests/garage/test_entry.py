"""Coming in and going out. The numbers in brackets are requirements of OWASP ASVS 5.0."""

from collections.abc import Callable, Iterator

import pytest
from axes.utils import reset
from django.test import Client
from django.urls import reverse

from garage.models import User

Login = Callable[[str], Client]
RIGHT = {"username": "counter", "password": "correct-horse"}


@pytest.fixture(autouse=True)
def _no_failures_left(db: None) -> Iterator[None]:
    yield
    reset()


def enter(password: str = "correct-horse", name: str = "counter", ip: str = "127.0.0.1"):
    return Client(REMOTE_ADDR=ip).post(reverse("login"), {"username": name, "password": password})


def test_the_right_password_lets_in_and_leads_on(shop: object, people: dict[str, User]) -> None:
    client = Client()
    asked = client.get(reverse("customers"))
    assert asked["Location"] == "/login/?next=/customers/"
    assert 'name="next" value="/customers/"' in client.get(asked["Location"]).content.decode()
    response = client.post(reverse("login"), {**RIGHT, "next": "/customers/"})
    assert (response.status_code, response["Location"]) == (302, "/customers/")


def test_it_leads_to_no_other_host(shop: object, people: dict[str, User]) -> None:
    response = Client().post(reverse("login"), {**RIGHT, "next": "https://example.com/"})
    assert response["Location"] == "/"


def test_a_wrong_name_and_a_wrong_password_look_alike(shop: object, people: dict[str, User]) -> None:  # [6.3.8]
    answers = [enter("wrong"), enter(name="nobody"), enter("wrong", name="nobody")]
    assert [answer.status_code for answer in answers] == [422, 422, 422]
    assert all("do not go together" in answer.content.decode() for answer in answers)


def test_somebody_without_a_login_anymore_looks_alike_too(shop: object, people: dict[str, User]) -> None:
    User.objects.filter(username="counter").update(is_active=False)
    answer = enter()
    assert answer.status_code == 422 and "do not go together" in answer.content.decode()


def test_what_was_typed_stays_but_the_password_does_not(shop: object, people: dict[str, User]) -> None:
    html = enter("wrong-sesame").content.decode()
    assert 'value="counter"' in html and "wrong-sesame" not in html


def test_the_session_gets_a_new_key(shop: object, people: dict[str, User]) -> None:  # [7.2.4, 7.4.1]
    client = Client()
    client.get(reverse("login"))
    client.session.save()
    before = client.session.session_key
    client.post(reverse("login"), RIGHT)
    inside = client.session.session_key or ""
    assert inside != before
    client.post(reverse("logout"))
    client.cookies["sessionid"] = inside
    assert client.get(reverse("find")).status_code == 302


def test_ten_wrong_passwords_lock_the_name_there_and_only_there(shop: object, people: dict[str, User]) -> None:
    """[6.1.1, 6.3.1]"""
    assert [enter("wrong").status_code for _ in range(9)] == [422] * 9
    locked = enter("wrong")
    assert locked.status_code == 429 and "15 minutes" in locked.content.decode()
    assert enter().status_code == 429, "the right password does not open the lock"
    assert enter(ip="10.0.0.9").status_code == 302, "from another device one still gets in"
    assert enter(name="owner").status_code == 302, "others still get in"


def test_the_locked_page_leads_back(shop: object, people: dict[str, User]) -> None:
    for _ in range(10):
        locked = enter("wrong")
    html = locked.content.decode()
    assert f'href="{reverse("login")}"' in html and "<h1>" in html


def test_a_new_password_from_the_owner_lifts_the_lock(shop: object, people: dict[str, User], login: Login) -> None:
    for _ in range(10):
        enter("wrong")
    url = reverse("person-password", args=[people["counter"].pk])
    login("owner").post(url, {"password": "three wet dipsticks"})
    assert enter("three wet dipsticks").status_code == 302


def test_going_out_takes_a_press_and_forgets_the_pages(shop: object, login: Login) -> None:  # [14.3.1]
    client = login("counter")
    assert client.get(reverse("logout")).status_code == 405
    response = client.post(reverse("logout"))
    assert (response.status_code, response["Location"]) == (303, reverse("login"))
    assert response["Clear-Site-Data"] == '"cache"', "storage would take the bay's unsent work with it"
    assert client.get(reverse("find")).status_code == 302


def test_who_is_in_is_not_asked_again(shop: object, login: Login) -> None:
    assert login("counter").get(reverse("login")).status_code == 302


def test_no_log_line_holds_a_name_or_password(shop: object, people: dict[str, User], caplog) -> None:  # [16.2.5]
    caplog.set_level("INFO")
    enter("sesame\r\nforged line", name="some\r\nbody")
    enter()
    assert "log in: user" in caplog.text and "log in refused" in caplog.text
    assert "sesame" not in caplog.text and "correct-horse" not in caplog.text
    assert "\r" not in caplog.text


@pytest.mark.parametrize("method", ["get", "post"])
def test_a_piece_of_a_page_after_the_session_is_refused(shop: object, method: str) -> None:
    """Leading on to the page to log in would take away what is typed in this one: the page says it (app.js)."""
    asked = getattr(Client(), method)(reverse("find"), {"q": "x"}, headers={"hx-request": "true"})
    assert asked.status_code == 401 and asked.content == b"" and "HX-Redirect" not in asked


def test_the_mark_of_the_forms_is_given_to_who_is_in(shop: object, people: dict[str, User]) -> None:
    """A page that was open while its person logged in anew sends its form with the mark it asks for."""
    client = Client(enforce_csrf_checks=True)
    assert client.get(reverse("token")).status_code == 302
    client.force_login(people["reader"], backend="django.contrib.auth.backends.ModelBackend")
    mark = client.get(reverse("token"))
    assert mark.headers["Cache-Control"] == "private, no-cache"
    words = {"old": "x", "new": "y", "again": "z", "csrfmiddlewaretoken": mark.content.decode()}
    assert client.post(reverse("own-password"), words).status_code == 422
    assert client.post(reverse("own-password"), {**words, "csrfmiddlewaretoken": "a" * 64}).status_code == 403


def test_a_form_sent_after_the_session_leads_back_to_its_page(shop: object) -> None:
    headers = {"referer": "http://testserver/customers/?after=4"}
    asked = Client().post(reverse("logout"), headers=headers)
    assert asked["Location"] == "/login/?next=/customers/%3Fafter%3D4"
    elsewhere = Client().post(reverse("logout"), headers={"referer": "https://example.com/customers/"})
    assert elsewhere["Location"] == "/login/?next=/"


def test_an_address_that_only_takes_forms_says_so_in_a_browser(shop: object, login: Login) -> None:
    page = login("counter").get(reverse("logout"))
    assert page.status_code == 405 and page["Allow"] == "POST"
    assert "Nothing was changed." in page.content.decode() and 'href="/"' in page.content.decode()
