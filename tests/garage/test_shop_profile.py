"""The shop's profile: what stands on every paper, its logo, and no time zone nobody knows."""

import datetime as dt
import io
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.forms import model_to_dict
from django.test import Client
from django.urls import reverse
from PIL import Image

from garage.actions.profile import FIELDS, save_profile
from garage.clock import fixed
from garage.errors import Refused
from garage.forms_shop import time_zones
from garage.models import AuditEntry, ShopProfile, StoredFile, User

Login = Callable[[str], Client]
URL = "/shop/"


def typed(shop: ShopProfile, **more: object) -> dict[str, object]:
    return {**model_to_dict(shop, FIELDS), **more}


def logo(name: str = "logo.png") -> SimpleUploadedFile:
    out = io.BytesIO()
    Image.new("RGB", (60, 20)).save(out, "PNG")
    return SimpleUploadedFile(name, out.getvalue())


def test_the_owner_changes_the_profile(shop: ShopProfile, login: Login) -> None:
    response = login("owner").post(URL, typed(shop, name="Fell & Daughters", labor_rate="131,50", currency="eur"))
    assert response.status_code == 303
    shop.refresh_from_db()
    assert (shop.name, shop.labor_rate, shop.currency) == ("Fell & Daughters", Decimal("131.50"), "EUR")
    assert AuditEntry.objects.latest("pk").told["changed"]["labor_rate"] == [12800, 13150]


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"name": ""}, "Write the garage’s name."),
        ({"labor_rate": "lots"}, "is not a number"),
        ({"labor_rate": "1.234"}, "At most 2 places"),
        ({"currency": "dollars"}, "At most 3 characters"),
        ({"currency": "1$"}, "Three letters"),
        ({"time_zone": "Mars/Olympus"}, "is not on the list"),
        ({"mail_text": "Dear {first name}"}, "Unknown placeholder {first name}."),
        ({"payment_days": "-1"}, "At least 0."),
        ({"payment_days": "99999999999"}, "At most 9999."),
        ({"estimate_days": "99999"}, "At most 9999."),
        ({"labor_rate": "-1"}, "Not less than 0."),
    ],
)
def test_bad_input_is_said_and_kept(shop: ShopProfile, login: Login, wrong: dict[str, str], sentence: str) -> None:
    response = login("owner").post(URL, typed(shop, invoice_text="Thank you kindly", **wrong))
    html = response.content.decode()
    assert response.status_code == 422 and sentence in html and "Thank you kindly" in html
    shop.refresh_from_db()
    assert shop.invoice_text == ""


def test_a_logo_is_stored_shown_and_taken_off(shop: ShopProfile, login: Login) -> None:
    owner = login("owner")
    assert owner.post(URL, typed(shop, logo=logo())).status_code == 303
    shop.refresh_from_db()
    assert shop.logo and shop.logo.kind == "logo"
    html = owner.get(URL).content.decode()
    assert reverse("photo", args=[shop.logo.pk]) in html
    assert owner.post(URL, typed(shop, without_logo="on")).status_code == 303
    shop.refresh_from_db()
    assert ShopProfile.objects.get().logo is None
    assert StoredFile.objects.count() == 1, "papers made before keep theirs"


def test_a_logo_that_is_no_picture_is_refused_beside_its_field(shop: ShopProfile, login: Login) -> None:
    svg = SimpleUploadedFile("logo.svg", b"<svg xmlns='http://www.w3.org/2000/svg'/>")
    response = login("owner").post(URL, typed(shop, logo=svg))
    html = response.content.decode()
    assert response.status_code == 422 and "no picture" in html and 'id="id_logo_error"' in html
    assert not StoredFile.objects.exists()


def test_saving_without_a_new_logo_keeps_the_old_one(shop: ShopProfile, login: Login) -> None:
    login("owner").post(URL, typed(shop, logo=logo()))
    login("owner").post(URL, typed(shop, name="Other"))
    shop.refresh_from_db()
    assert shop.logo is not None


def test_the_first_profile_is_made_when_there_is_none(login: Login) -> None:
    assert login("owner").post(URL, typed(ShopProfile(), name="New garage")).status_code == 303
    assert ShopProfile.objects.get().pk == 1


@pytest.mark.parametrize(
    ("fields", "field"), [({"time_zone": "Nowhere"}, "time_zone"), ({"currency": "usd"}, "currency")]
)
def test_the_verb_refuses_what_would_break_the_pages(
    people: dict[str, User], now: dt.datetime, fields: dict[str, str], field: str
) -> None:
    with pytest.raises(Refused) as caught:
        save_profile(fields=fields, actor=people["owner"], clock=fixed(now))
    assert caught.value.field == field


def test_every_zone_offered_is_one_the_verb_takes() -> None:
    zones = time_zones()
    assert "America/New_York" in zones and "UTC" in zones and "Etc/GMT+5" not in zones


@pytest.mark.parametrize("role", ["counter", "technician", "reader"])
def test_the_page_is_the_owners(shop: ShopProfile, login: Login, role: str) -> None:
    assert login(role).get(URL).status_code == 403
    assert login(role).post(URL, typed(shop, name="Mine")).status_code == 403


def test_only_read_or_saved(shop: ShopProfile, login: Login) -> None:
    assert login("owner").delete(URL).status_code == 405
