"""A customer who asks to be forgotten: what goes at once, what the record years keep, and what pages and papers say.

That papers are kept for years and names can go afterwards: common practice; the years stand in `erasing.RECORD_YEARS`.
"""

import datetime as dt
from collections.abc import Callable

import pytest
from django.test import Client
from django.utils import timezone

from garage import search
from garage.actions.customers import save_customer
from garage.actions.erasing import RECORD_YEARS
from garage.actions.forgetting import forget_customer
from garage.actions.merging import merge_customer
from garage.clock import fixed
from garage.errors import Refused
from garage.models import AuditEntry, Customer, StoredFile
from invoicing.models import Authorization, Invoice
from invoicing.papers import invoice_paper
from jobs.actions.intake import add_photo
from tests.invoicing.cast import Garage, broken, labor, part
from tests.invoicing.test_papers import text_of
from tests.jobs.counter_cast import picture

Login = Callable[[str], Client]
OVER = dt.timedelta(days=366 * RECORD_YEARS + 1)
WHO = ("Odile", "Marrant", "555-0142", "odile@example.com", "Quay Street", "Piet")


def forget(garage: Garage, customer: Customer, at: dt.datetime) -> Customer:
    return forget_customer(customer=customer, actor=garage.people["owner"], clock=fixed(at))


@pytest.fixture
def paid(garage: Garage) -> Invoice:
    """A visit of Odile Marrant's, with a photo, paid."""
    garage.now = timezone.now()
    job = garage.done([labor(), part()])
    add_photo(job=job, upload=picture(), actor=garage.actor, clock=fixed(garage.now))
    invoice = garage.issue(job)
    garage.pay(invoice, str(invoice.gross))
    return Invoice.objects.get(pk=invoice.pk)


@pytest.mark.django_db(transaction=True)
def test_who_it_was_goes_at_once_and_the_papers_keep_it_for_the_years(
    garage: Garage, paid: Invoice, login: Login
) -> None:
    row = forget(garage, paid.customer, garage.now)
    assert (row.name, row.address, row.erased_at) == ("erased", "", garage.now)
    assert not row.phones.exists() and not row.emails.exists() and not row.designated.exists()
    assert StoredFile.objects.get(kind="photo").erased_at == garage.now
    assert search.find("odile") == search.find("555-0142") == []
    assert [one.object_id for one in search.find(paid.label, kinds=["invoice"])] == [paid.pk]
    assert "Odile Marrant" in text_of(invoice_paper(paid.pk))  # a record
    page = login("owner").get(f"/customers/{row.pk}/").content.decode()
    assert "Erased on" in page
    assert paid.label in page
    assert all(word not in page for word in WHO)
    assert broken() == []


@pytest.mark.django_db(transaction=True)
def test_after_the_record_years_the_papers_forget_too(garage: Garage, paid: Invoice, login: Login) -> None:
    forget(garage, paid.customer, garage.now)
    forget(garage, paid.customer, garage.now + OVER)
    said = text_of(invoice_paper(paid.pk))
    assert "erased after the record years" in " ".join(said.split())
    assert all(word not in said for word in WHO)
    assert str(Authorization.objects.get().person) == "erased"
    told = [f"{entry.label} {entry.told}" for entry in AuditEntry.objects.all()]
    assert all(word not in one for one in told for word in WHO)
    page = login("counter").get(f"/invoices/{paid.pk}/").content.decode()
    assert all(word not in page for word in WHO)
    assert f"{paid.gross:,.2f}" in page  # the sums stay
    assert broken() == []


def test_what_is_open_comes_first(garage: Garage, db: None) -> None:
    garage.now = timezone.now()
    open_job, owed = garage.job([labor()]), garage.issue(garage.done([part()]))
    held = garage.customer("Bram Holt")
    garage.on_account(held, "20.00")
    for customer, why in [
        (open_job.customer, "is written up: finish it first"),
        (owed.customer, r"\$80.33 is owed on invoices|is invoiced: finish it first"),
        (held, r"\$20.00 is on the account"),
    ]:
        with pytest.raises(Refused, match=why):
            forget(garage, customer, garage.now)


def test_one_who_was_erased_is_written_down_anew(garage: Garage, paid: Invoice) -> None:
    row = forget(garage, paid.customer, garage.now)
    other = garage.customer("Bram Holt")
    with pytest.raises(Refused, match="was erased"):
        save_customer(customer=row, fields={"name": "Odile"}, phones=[], emails=[], actor=None, clock=fixed(garage.now))
    with pytest.raises(Refused, match="was erased"):
        garage.job([labor()], customer=row)
    with pytest.raises(Refused, match="was erased"):
        merge_customer(customer=row, into=other, actor=None, clock=fixed(garage.now))


class TestThePage:
    def test_the_owner_sees_what_goes_and_what_stays_and_confirms(
        self, garage: Garage, paid: Invoice, login: Login
    ) -> None:
        owner, url = login("owner"), f"/customers/{paid.customer_id}/erase/"
        assert f'href="{url}"' in owner.get(f"/customers/{paid.customer_id}/").content.decode()
        page = owner.get(url).content.decode()
        assert "Erased at once" in page
        assert f"for {RECORD_YEARS} years" in page
        assert "Names and words beside papers" in page
        unsure = owner.post(url, {})
        assert unsure.status_code == 422
        assert "Tick this to erase them." in unsure.content.decode()
        assert Customer.objects.get(pk=paid.customer_id).erased_at is None
        assert owner.post(url, {"sure": "on"})["Location"] == f"/customers/{paid.customer_id}/"
        assert Customer.objects.get(pk=paid.customer_id).name == "erased"

    def test_nobody_else_may(self, garage: Garage, paid: Invoice, login: Login) -> None:
        url = f"/customers/{paid.customer_id}/erase/"
        assert login("counter").get(url).status_code == 403
        assert url not in login("counter").get(f"/customers/{paid.customer_id}/").content.decode()

    def test_what_keeps_them_is_said_and_the_act_is_not_offered(self, garage: Garage, login: Login) -> None:
        garage.now = timezone.now()
        job = garage.job([labor()])
        page = login("owner").get(f"/customers/{job.customer_id}/erase/").content.decode()
        assert "finish it first" in page
        assert 'form="forget"' not in page
