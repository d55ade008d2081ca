"""The pages of a customer: what was typed is never lost, rows are added and removed without JavaScript."""

import datetime as dt
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from garage import panels
from garage.actions.customers import save_customer
from garage.actions.vehicles import save_vehicle
from garage.clock import fixed
from garage.models import Customer, Vehicle
from tests.budget import assert_budget

Login = Callable[[str], Client]


def typed(**more: str) -> dict[str, str]:
    """What the form sends for a customer with one phone, one email and nobody designated."""
    rows = {f"{prefix}-{name}_FORMS": "0" for prefix in ("emails", "designated") for name in ("INITIAL", "TOTAL")}
    phones = {"phones-INITIAL_FORMS": "0", "phones-TOTAL_FORMS": "2", "phones-0-number": "555-0150"}
    phones |= {"phones-0-label": "cell", "phones-1-number": "", "phones-1-label": ""}
    return {"kind": "person", "name": "Runa Holt", "notes": "calls after six", **rows, **phones, **more}


def test_a_new_customer_is_written_down(shop: object, login: Login) -> None:
    response = login("counter").post(reverse("customer-new"), typed())
    row = Customer.objects.get()
    assert response.status_code == 303 and response["Location"] == reverse("customer", args=[row.pk])
    assert (row.name, [str(phone) for phone in row.phones.all()]) == ("Runa Holt", ["555-0150"])


def test_a_customer_is_changed(shop: object, login: Login, odile: Customer) -> None:
    page = login("counter").get(reverse("customer-edit", args=[odile.pk]))
    html = page.content.decode()
    assert 'name="phones-1-number" value="(555) 0143"' in html and 'name="phones-2-number"' not in html
    response = login("owner").post(reverse("customer-edit", args=[odile.pk]), typed(version=str(odile.version)))
    assert response.status_code == 303
    odile.refresh_from_db()
    assert odile.name == "Runa Holt" and odile.designated.count() == 0


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"name": ""}, "Write the customer’s name."),
        ({"phones-0-number": "call me"}, "at least three digits"),
        ({"tax_exempt": "on"}, "needs the number of its certificate"),
        (
            {"emails-TOTAL_FORMS": "1", "emails-0-address": "odile(at)example"},
            "Write an email address like name@example.com.",
        ),
        ({"phones-1-label": "work"}, "Write the phone number."),
        ({"payment_days": "soon"}, "Write a whole number, such as 14."),
        ({"exemption_until": "someday"}, "This is not a day: choose it in the calendar."),
    ],
)
def test_bad_input_is_said_beside_its_field_and_kept(
    shop: object, login: Login, wrong: dict[str, str], sentence: str
) -> None:
    response = login("counter").post(reverse("customer-new"), typed(**wrong))
    html = response.content.decode()
    assert response.status_code == 422
    assert sentence in html and "calls after six" in html and 'aria-invalid="true"' in html
    assert all(value in html for value in wrong.values())
    assert not Customer.objects.exists()


def test_a_row_more_keeps_what_was_typed_and_judges_nothing(shop: object, login: Login) -> None:
    response = login("counter").post(reverse("customer-new"), typed(rows="add phones", name=""))
    html = response.content.decode()
    assert response.status_code == 200
    assert 'name="phones-2-number"' in html and 'value="555-0150"' in html
    assert html.count(" autofocus") == 1 and "autofocus" in html.split('name="phones-2-number"')[1].split(">")[0]
    assert "Write the customer’s name." not in html
    assert not Customer.objects.exists()


def test_a_row_less_closes_the_gap(shop: object, login: Login, odile: Customer) -> None:
    sent = typed(rows="remove phones 0", **{"phones-1-number": "555-0151", "phones-1-label": "work"})
    html = login("counter").post(reverse("customer-new"), sent).content.decode()
    assert 'name="phones-0-number" value="555-0151"' in html and 'name="phones-0-label" value="work"' in html
    assert 'name="phones-1-number"' not in html
    assert "autofocus" in html.split('value="add phones"')[1].split(">")[0]


@pytest.mark.parametrize("button", ["add", "remove phones x", "add nothing", "remove phones 99", "jump phones 1"])
def test_a_forged_button_breaks_nothing(shop: object, login: Login, button: str) -> None:
    assert login("counter").post(reverse("customer-new"), typed(rows=button)).status_code in (200, 303)


@pytest.mark.parametrize("lie", [{"phones-TOTAL_FORMS": "9" * 5000}, {"rows": "remove phones " + "9" * 5000}])
def test_rows_beyond_all_counting_are_no_rows(shop: object, login: Login, lie: dict[str, str]) -> None:
    """Python refuses to read a number of more than 4,300 digits."""
    assert login("counter").post(reverse("customer-new"), typed(**{"rows": "add phones", **lie})).status_code < 500


def test_with_htmx_only_the_form_comes_back(shop: object, login: Login) -> None:
    response = login("counter").post(reverse("customer-new"), typed(rows="add emails"), headers={"hx-request": "true"})
    html = response.content.decode()
    assert "<html" not in html and html.lstrip().startswith('<form method="post"')
    assert 'name="emails-0-address"' in html


def test_somebody_elses_change_is_told_and_then_decided(
    shop: object, login: Login, odile: Customer, now: dt.datetime
) -> None:
    save_customer(actor=None, clock=fixed(now), customer=odile, fields={"notes": "moved"}, phones=[], emails=[])
    url = reverse("customer-edit", args=[odile.pk])
    first = login("counter").post(url, typed(version=str(odile.version)))
    html = first.content.decode()
    assert first.status_code == 422 and "Somebody else changed" in html and "calls after six" in html
    assert f'name="version" value="{odile.version + 1}"' in html
    assert login("counter").post(url, typed(version=str(odile.version + 1))).status_code == 303


def test_fields_that_are_not_on_the_form_are_not_taken(shop: object, login: Login) -> None:
    login("counter").post(reverse("customer-new"), typed(created="1999-01-01", version="77", id="5"))
    row = Customer.objects.get()
    assert row.created.year > 1999 and row.version == 1


def test_what_was_typed_comes_back_as_text_never_as_markup(shop: object, login: Login, now: dt.datetime) -> None:
    name = '<script>alert("x")</script>'
    row = save_customer(actor=None, clock=fixed(now), fields={"name": name}, phones=[(name, name)], emails=[])
    for url in (reverse("customer", args=[row.pk]), reverse("customers"), reverse("find") + "?q=script"):
        html = login("counter").get(url).content.decode()
        assert "<script>alert" not in html and "&lt;script&gt;" in html


# The page


def test_the_page_says_how_to_reach_them_and_who_may_authorize(
    shop: object, login: Login, odile: Customer, car: Vehicle
) -> None:
    html = login("counter").get(reverse("customer", args=[odile.pk])).content.decode()
    for words in ("555-0142", "cell", "odile@example.com", "4 Mill Lane<br>Testerton", "Bram Marrant", "KET-118"):
        assert words in html
    assert reverse("vehicle", args=[car.pk]) in html


def test_other_apps_add_their_panels(shop: object, login: Login, odile: Customer, monkeypatch) -> None:
    monkeypatch.setitem(panels._panels, "customer", [(0, lambda request, row: f"<p>panel of {row}</p>")])
    html = login("counter").get(reverse("customer", args=[odile.pk])).content.decode()
    assert "panel of Odile Marrant" in html


def test_an_exemption_that_is_over_is_said(shop: object, login: Login, now: dt.datetime) -> None:
    fields = {"name": "F", "tax_exempt": True, "exemption_certificate": "C-1", "exemption_until": dt.date(2020, 1, 1)}
    row = save_customer(actor=None, clock=fixed(now), fields=fields, phones=[], emails=[])
    assert "Exemption over" in login("counter").get(reverse("customer", args=[row.pk])).content.decode()


@pytest.mark.parametrize("name", ["customer", "customer-edit"])
def test_nobody_there_is_404(shop: object, login: Login, name: str) -> None:
    assert login("counter").get(reverse(name, args=[4711])).status_code == 404


@pytest.mark.parametrize(
    ("name", "role", "allowed"),
    [
        (name, role, role in ("owner", "counter"))
        for name in ("customer", "customer-edit")
        for role in ("owner", "counter", "technician", "reader")
    ],
)
def test_the_counter_alone_knows_the_customers(
    shop: object, login: Login, odile: Customer, name: str, role: str, allowed: bool
) -> None:
    assert login(role).get(reverse(name, args=[odile.pk])).status_code == (200 if allowed else 403)


def test_a_page_is_only_read(shop: object, login: Login, odile: Customer) -> None:
    assert login("counter").post(reverse("customer", args=[odile.pk])).status_code == 405
    assert login("counter").put(reverse("customer-edit", args=[odile.pk])).status_code == 405


# However many


def test_lists_and_pages_ask_a_fixed_number_of_times(
    shop: object, login: Login, odile: Customer, car: Vehicle, now: dt.datetime, monkeypatch
) -> None:
    monkeypatch.setitem(panels._panels, "customer", [])

    def one_more() -> None:
        row = save_customer(actor=None, clock=fixed(now), fields={"name": "Next"}, phones=[("555-0160", "")], emails=[])
        save_vehicle(actor=None, clock=fixed(now), fields={"make": "A", "model": "B"}, owner=row)
        save_vehicle(actor=None, clock=fixed(now), fields={"make": "A", "model": "B"}, owner=odile)

    assert_budget(login("counter"), reverse("customers"), 10, one_more)
    assert_budget(login("counter"), reverse("customer", args=[odile.pk]), 10, one_more)


def test_long_lists_are_cut_into_pages(shop: object, login: Login, now: dt.datetime) -> None:
    for number in range(31):
        save_customer(actor=None, clock=fixed(now), fields={"name": f"Customer {number}"}, phones=[], emails=[])
    html = login("counter").get(reverse("customers")).content.decode()
    assert "Customer 30" in html and "Customer 0<" not in html
    older = html.split('rel="next"')[0].rsplit('href="', 1)[1].split('"')[0]
    assert "Customer 0<" in login("counter").get(reverse("customers") + older).content.decode()


def test_a_phone_is_a_link_that_a_telephone_can_dial(shop: object, login: Login, now: dt.datetime) -> None:
    # RFC 3966: digits after an optional plus sign; a percent sign is no part of a number.
    row = save_customer(
        actor=None, clock=fixed(now), fields={"name": "Runa Holt"}, phones=[("+1 (555) 555-0150", "")], emails=[]
    )
    html = login("counter").get(reverse("customer", args=[row.pk])).content.decode()
    assert '<a href="tel:+15555550150">+1 (555) 555-0150</a>' in html
