"""What the garage changed of the taxes since a yes, a class or an exemption: a new yes, or a write-off.

That it needs one or the other is the design's own rule. Figures at 7.25 % are worked out beside each test.
"""

from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client

from garage.models import ShopProfile
from tests.invoicing.cast import Garage, broken, labor, part
from tests.invoicing.consent_cast import change
from tests.invoicing.test_pages import form_of, text_of
from tests.invoicing.write_off_cast import draft_page, exempt_no_more, line_of, off, only_authorized, tap

D = Decimal
Login = Callable[[str], Client]


pytestmark = pytest.mark.usefixtures("real_clock")


def test_a_class_that_is_taxed_higher_comes_down_to_what_was_heard_with_tax(garage: Garage, login: Login) -> None:
    client, job = login("counter"), garage.done([labor("1")])
    change(garage, line_of(job, "labor"), tax_class="charge")
    assert "Labor is taxed higher" in draft_page(client, job)
    tap(client, job)
    # 128.00 was heard; 119.35 and 7.25 % of it (8.65) is 128.00
    assert off(job) == {"charge": D("8.65")}
    assert "Not charged: more than was authorized" in draft_page(client, job)  # the labor itself was authorized
    assert garage.issue(job).gross == D("128.00")
    assert broken() == []


def test_an_exemption_that_is_gone_comes_down_to_what_was_heard(garage: Garage, login: Login) -> None:
    client, job = login("counter"), exempt_no_more(garage)
    assert "was exempt from tax then and is not now, $5.43 more" in draft_page(client, job)
    tap(client, job)
    # 202.90 was heard; 69.84 of parts and 7.25 % of it (5.06) is 74.90
    assert off(job) == {"parts": D("5.06")}
    assert garage.issue(job).gross == D("202.90")
    assert broken() == []


def test_an_exemption_that_is_gone_can_get_a_new_yes_through_the_pages(garage: Garage, login: Login) -> None:
    client, job = login("counter"), exempt_no_more(garage)
    job.refresh_from_db()
    assert "Write revised estimate" in draft_page(client, job)
    assert client.post(f"/jobs/{job.pk}/estimate/revise/").status_code == 303
    estimate = job.estimates.first()
    assert estimate is not None and estimate.gross == D("208.33")
    page = text_of(client.get(f"/jobs/{job.pk}/authorize/"))
    assert "Not authorized: the customer was exempt from tax then and is not now, $5.43 more" in page
    operation = job.operations.get()
    sent = form_of(estimate) | {f"decision_{operation.pk}": "authorized", "limit": "202.90"}
    assert client.post(f"/jobs/{job.pk}/authorize/", sent).status_code == 303
    job.refresh_from_db()
    assert job.stage == "finished"
    assert garage.issue(job).gross == D("208.33")
    assert broken() == []


def test_a_class_that_was_changed_can_get_a_new_yes_through_the_pages(garage: Garage, login: Login) -> None:
    client, job = login("counter"), garage.done([labor("1")])
    change(garage, line_of(job, "labor"), tax_class="charge")
    client.post(f"/jobs/{job.pk}/estimate/revise/")
    estimate, operation = job.estimates.first(), job.operations.get()
    assert "Labor is taxed higher" in text_of(client.get(f"/jobs/{job.pk}/authorize/"))
    sent = form_of(estimate) | {f"decision_{operation.pk}": "authorized", "limit": "128.00"}
    assert client.post(f"/jobs/{job.pk}/authorize/", sent).status_code == 303
    assert garage.issue(job).gross == D("137.28")
    assert broken() == []


def test_a_no_to_the_tax_leaves_the_yes_and_the_act(garage: Garage, login: Login) -> None:
    client, job = login("counter"), exempt_no_more(garage)
    client.post(f"/jobs/{job.pk}/estimate/revise/")
    estimate, operation = job.estimates.first(), job.operations.get()
    sent = form_of(estimate) | {f"decision_{operation.pk}": "declined", f"reason_{operation.pk}": "never paid it"}
    assert client.post(f"/jobs/{job.pk}/authorize/", sent).status_code == 303
    tap(client, job)
    assert garage.issue(job).gross == D("202.90")


def test_a_limit_with_tax_counts_the_tax(garage: Garage) -> None:
    ShopProfile.objects.update(limit_with_tax=True)
    job = garage.done([part(price="100.00"), labor("1")])
    change(garage, line_of(job), unit_price=D("120.00"))
    change(garage, line_of(job, "labor"), unit_price=D("108.00"))  # 20.00 less, where there is no tax
    # Heard: 228.00 and 7.25 = 235.25. Now: 228.00 and 8.70. 118.65 of parts, 8.60 tax and 108.00 are 235.25.
    only_authorized(garage, job, "1.35")
    assert garage.issue(job).gross == D("235.25")
    assert broken() == []


def test_the_sheet_says_what_the_draft_refuses_for_when_an_exemption_is_gone(garage: Garage, login: Login) -> None:
    client, job = login("counter"), exempt_no_more(garage)
    gone = "the customer was exempt from tax then and is not now, $5.43 more"
    assert gone in draft_page(client, job)
    sheet = text_of(client.get(f"/jobs/{job.pk}/"))
    assert f"Operation 1: the customer has to be asked first ({gone}" in sheet
