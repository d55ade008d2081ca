"""The shop's locale: screens, papers and mail write words, days and times as it does; a paper keeps its own."""

import datetime as dt
from collections.abc import Callable

import pytest
from django.forms import model_to_dict
from django.test import Client
from django.utils import timezone

from garage import documents
from garage.actions.profile import FIELDS
from garage.models import OutgoingMail, ShopProfile
from invoicing.models import Invoice
from tests.invoicing.cast import Garage, labor

Login = Callable[[str], Client]


def british(login: Login, shop: ShopProfile) -> None:
    """The owner chooses it on the shop's page."""
    sent = {name: "" if value is None else value for name, value in model_to_dict(shop, FIELDS).items()}
    assert login("owner").post("/shop/", {**sent, "locale": "en-GB"}).status_code == 303


def page(login: Login, invoice: Invoice) -> str:
    return login("counter").get(f"/invoices/{invoice.pk}/").content.decode()


def printed(invoice: Invoice) -> str:
    return documents.built("invoice", invoice.pk).html


def test_screens_follow_the_shop(
    garage: Garage, shop: ShopProfile, login: Login, monkeypatch: pytest.MonkeyPatch
) -> None:
    tomorrow = garage.now + dt.timedelta(1)  # in another year the page shows the year, and no time
    monkeypatch.setattr(timezone, "now", lambda: tomorrow)
    note = garage.credit(garage.issue(garage.done([labor()], promised_at=garage.now)))
    american = page(login, note)
    assert "Credit memo 2026-0002" in american and '<html lang="en-US">' in american
    assert "7:00 AM" in american and "Mar 2" in american
    british(login, shop)
    said = page(login, note)
    assert "Credit note 2026-0002" in said and '<html lang="en-GB">' in said
    assert "07:00" in said and "2 Mar" in said and "AM" not in said and "Mar 2" not in said


def test_a_paper_keeps_the_locale_it_was_written_in(garage: Garage, shop: ShopProfile, login: Login) -> None:
    """Made again years later it is the same paper, whatever the shop has chosen since."""
    first = garage.credit(garage.issue(garage.done([labor()])))
    before = printed(first)
    assert "issued Mar 2, 2026" in before and "Credit memo" in before and '<html lang="en-US">' in before
    british(login, shop)
    assert printed(first) == before
    second = printed(garage.credit(garage.issue(garage.done([labor()]))))
    assert "issued 2 Mar 2026" in second and "Credit note" in second and '<html lang="en-GB">' in second


@pytest.mark.usefixtures("real_clock")
def test_mail_says_total_and_day_as_the_shop_does(garage: Garage, shop: ShopProfile, login: Login) -> None:
    ShopProfile.objects.update(phone="555-0100")
    estimate = garage.estimate(garage.job([labor()]))
    american, its = (f"{estimate.valid_until:%b} {estimate.valid_until.day}, 20", f"{estimate.valid_until.day} ")
    login("counter").post(f"/estimates/{estimate.pk}/mail/", {"to": "odile@example.com"})
    mail = OutgoingMail.objects.latest("pk").text
    assert mail.startswith("Hello Odile Marrant,\n\nattached is estimate ")
    assert f": $179.20, good until {american}" in mail and "Reply or call us at 555-0100." in mail
    british(login, shop)
    login("counter").post(f"/estimates/{estimate.pk}/mail/", {"to": "marrant@example.com"})
    said = OutgoingMail.objects.latest("pk").text
    assert f"good until {its}{estimate.valid_until:%b} 20" in said and "after you authorise it" in said
