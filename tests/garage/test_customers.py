"""Customers: several phones and emails, who may authorize for them, and nothing overwritten unseen."""

import datetime as dt

import pytest

from garage import changes, search
from garage.actions.customers import save_customer
from garage.actions.vehicles import save_vehicle
from garage.clock import fixed
from garage.errors import Refused
from garage.models import AuditEntry, Customer, User


def test_a_customer_keeps_phones_and_emails_in_the_order_given(odile: Customer) -> None:
    assert [str(phone) for phone in odile.phones.all()] == ["555-0142", "(555) 0143"]
    assert [phone.digits for phone in odile.phones.all()] == ["5550142", "5550143"]
    assert [str(email) for email in odile.emails.all()] == ["odile@example.com"]
    assert [str(person) for person in odile.designated.all()] == ["Bram Marrant"]


def test_a_change_leaves_old_and_new_in_the_trail(odile: Customer, people: dict[str, User], now: dt.datetime) -> None:
    save_customer(
        actor=people["owner"],
        clock=fixed(now),
        customer=odile,
        fields={"name": "Odile Marrant-Vey"},
        phones=[("555-0145", "")],
        emails=[("odile@example.com", "")],
    )
    entry = AuditEntry.objects.latest("pk")
    assert entry.actor == people["owner"]
    assert entry.told["changed"] == {
        "name": ["Odile Marrant", "Odile Marrant-Vey"],
        "phones": [[["555-0142", "cell"], ["(555) 0143", ""]], [["555-0145", ""]]],
    }
    assert odile.designated.count() == 1, "who may authorize was not named, so it stays"


def test_somebody_elses_change_is_not_overwritten_unseen(odile: Customer, now: dt.datetime) -> None:
    stale = odile.version
    save_customer(
        actor=None, clock=fixed(now), customer=odile, fields={"notes": "no"}, phones=[], emails=[], version=stale
    )
    with pytest.raises(changes.Stale, match="Somebody else changed") as caught:
        save_customer(
            actor=None, clock=fixed(now), customer=odile, fields={"notes": "yes"}, phones=[], emails=[], version=stale
        )
    assert caught.value.version == stale + 1
    odile.refresh_from_db()
    assert odile.notes == "no"


@pytest.mark.parametrize(
    ("fields", "field"),
    [({"name": "  "}, "name"), ({"name": "Fleet Ltd", "tax_exempt": True}, "exemption_certificate")],
)
def test_what_cannot_be_a_customer_is_refused(db: None, now: dt.datetime, fields: dict, field: str) -> None:
    with pytest.raises(Refused) as caught:
        save_customer(actor=None, clock=fixed(now), fields=fields, phones=[], emails=[])
    assert caught.value.field == field
    assert not Customer.objects.exists()


def test_a_field_that_is_not_for_people_is_not_set(db: None, now: dt.datetime) -> None:
    with pytest.raises(ValueError, match="version"):
        save_customer(actor=None, clock=fixed(now), fields={"name": "A", "version": 9}, phones=[], emails=[])


def test_a_line_break_in_a_name_cannot_reach_a_mail_header(db: None, now: dt.datetime) -> None:
    row = save_customer(actor=None, clock=fixed(now), fields={"name": "A\r\nBcc: b@example.com"}, phones=[], emails=[])
    assert row.name == "A Bcc: b@example.com"


@pytest.mark.parametrize(
    "typed", ["marrant", "MARR", "odile mar", "0142", "555 0142", "5550143", "odile@example.com", "mill lane"]
)
def test_a_customer_is_found_by(odile: Customer, typed: str) -> None:
    assert [found.object_id for found in search.find(typed, kinds=["customer"])] == [odile.pk]


def test_a_car_is_found_by_its_owners_new_name(odile: Customer, now: dt.datetime) -> None:
    car = save_vehicle(actor=None, clock=fixed(now), fields={"make": "Brannock", "model": "Fell"}, owner=odile)
    save_customer(actor=None, clock=fixed(now), customer=odile, fields={"name": "Odile Sorrel"}, phones=[], emails=[])
    assert [found.object_id for found in search.find("sorrel", kinds=["vehicle"])] == [car.pk]
    assert search.find("marrant", kinds=["vehicle"]) == []
