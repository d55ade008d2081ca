"""Selling over the counter: no car, no bay, no name; drawn, billed and paid in one act."""

import datetime as dt
import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone

from garage import search
from garage.actions.customers import save_customer, walk_in_customer
from garage.actions.merging import merge_customer
from garage.actions.vehicles import save_vehicle
from garage.clock import fixed
from garage.errors import Refused
from garage.models import Customer
from invoicing import accounts
from invoicing.actions.selling import ON_ACCOUNT
from invoicing.models import Authorization, Estimate, Invoice, Payment
from jobs import stages
from jobs.actions.intake import open_job
from jobs.models import Job, Line
from parts.actions.items import save_item
from parts.actions.receiving import opening_stock
from parts.models import Item, Movement
from parts.queries import chain_on_hand
from tests.invoicing.cast import Garage, broken, labor, part
from tests.invoicing.counter_sales import QUART, pieces, quart, sold, wiper_blade

D = Decimal
Login = Callable[[str], Client]


@pytest.fixture
def garage(garage: Garage) -> Garage:
    garage.now = timezone.now()
    return garage


@pytest.fixture
def blade(garage: Garage) -> Item:
    return wiper_blade(garage)


def test_two_blades_and_a_quart(garage: Garage, blade: Item) -> None:
    fluid = garage.fluid()
    invoice = sold(garage, pieces(blade), quart(garage, fluid))
    # 2 × 18.50 = 37.00; 61.20 a liter is 57.92 a quart (61.20 × 0.946352946 = 57.9168): 94.92 at 7.25 % is 6.88.
    assert (invoice.net, invoice.tax, invoice.gross) == (D("94.92"), D("6.88"), D("101.80"))
    assert invoice.consent == Invoice.Consent.SALE
    assert (invoice.vehicle_text, invoice.plate, str(invoice.person)) == ("", "", "Walk-in sale")
    assert accounts.owed(invoice) == 0
    payment = Payment.objects.get()
    assert (payment.amount, payment.method, payment.paid_on) == (D("101.80"), "cash", invoice.issued_on)
    assert chain_on_hand(blade) == 1
    assert chain_on_hand(fluid) == 3 - QUART
    lines = {line.kind: line for line in invoice.operations.get().lines.all()}
    assert lines["part"].cost == D("18.80")
    assert lines["fluid"].cost == D("34.068706")  # 36.00 × 0.946352946, to the millionth
    job = invoice.job
    assert job is not None
    job.refresh_from_db()
    assert (job.stage, job.is_sale, str(job)) == (stages.CLOSED, True, f"Sale {job.number}")
    assert not Estimate.objects.exists()
    assert not Authorization.objects.exists()
    assert broken() == []


def test_numbers_run_in_the_one_series(garage: Garage, blade: Item) -> None:
    first = garage.issue(garage.done([part()]))
    second = sold(garage, pieces(blade, 1))
    assert (second.series, second.number) == (first.series, first.number + 1)
    assert broken() == []


class TestTheStandingCustomer:
    def test_is_one_and_made_when_first_needed(self, garage: Garage, blade: Item) -> None:
        assert not Customer.objects.exists()
        first, second = sold(garage, pieces(blade, 1)), sold(garage, pieces(blade, 1))
        assert first.customer_id == second.customer_id
        assert Customer.objects.get().walk_in
        with pytest.raises(IntegrityError), transaction.atomic():
            Customer.objects.create(name="Another", walk_in=True, created=garage.now)

    def test_is_nobody_in_particular(self, garage: Garage) -> None:
        who: dict[str, Any] = {"actor": garage.actor, "clock": fixed(garage.now)}
        nobody, odile = walk_in_customer(**who), garage.customer()
        car = garage.car(odile)
        no_name = "is for everybody who buys at the counter without a name"
        with pytest.raises(Refused, match=no_name):
            save_customer(customer=nobody, fields={"name": "Zelda Fenn"}, phones=[], emails=[], **who)
        with pytest.raises(Refused, match="cannot be merged"):
            merge_customer(customer=nobody, into=odile, **who)
        with pytest.raises(Refused, match="cannot be merged"):
            merge_customer(customer=odile, into=nobody, **who)
        with pytest.raises(Refused, match=no_name):
            save_vehicle(vehicle=car, fields={}, owner=nobody, **who)
        with pytest.raises(Refused, match=no_name):
            open_job(key=uuid.uuid4(), customer=nobody, vehicle=None, concern="Noise", **who)
        with pytest.raises(Refused, match="A walk-in sale has no account"):
            garage.on_account(nobody, "20.00")
        nobody.refresh_from_db()
        assert nobody.name == "Walk-in sale"

    def test_takes_no_money_above_what_is_owed(self, garage: Garage, blade: Item) -> None:
        invoice = sold(garage, pieces(blade, 1))
        garage.reverse(Payment.objects.get())
        with pytest.raises(Refused, match="A walk-in sale has no account"):
            garage.pay(invoice, "50.00", credit=D("30.16"))
        garage.pay(invoice, "19.84")
        assert broken() == []

    def test_buys_nothing_on_account(self, garage: Garage, blade: Item) -> None:
        with pytest.raises(Refused, match="A sale on account needs a customer") as refused:
            sold(garage, pieces(blade), method=ON_ACCOUNT)
        assert refused.value.field == "method"
        assert chain_on_hand(blade) == 3
        assert not Invoice.objects.exists()


def test_a_customer_may_pay_later(garage: Garage, blade: Item) -> None:
    odile = garage.customer(payment_days=30)
    invoice = sold(garage, pieces(blade), customer=odile, method=ON_ACCOUNT)
    assert accounts.owed(invoice) == invoice.gross == D("39.68")
    assert invoice.due_on == invoice.issued_on + dt.timedelta(days=30)
    assert invoice.job is not None
    assert invoice.job.stage == stages.INVOICED
    assert not Payment.objects.exists()
    assert broken() == []


@pytest.mark.parametrize("lines", [[labor()], [part(kind="sublet", sublet_to="A machine shop", tax_class="sublet")]])
def test_work_makes_a_job(lines: list[dict[str, Any]], garage: Garage, blade: Item) -> None:
    with pytest.raises(Refused, match="make it a job: open a new visit") as refused:
        sold(garage, pieces(blade, 1), *lines)
    assert refused.value.field == "lines-1-quantity"
    assert not Job.objects.exists()
    assert chain_on_hand(blade) == 3


def test_what_the_shelf_lacks_is_refused_beside_its_line(garage: Garage, blade: Item) -> None:
    fluid = garage.fluid()
    with pytest.raises(Refused, match=r"Only 3 on the shelf\.") as refused:
        sold(garage, quart(garage, fluid), pieces(blade, 4))
    assert refused.value.field == "lines-1-quantity"
    with pytest.raises(Refused, match=r"Only 3\.170 qt on the shelf\."):  # in the unit that was typed
        sold(garage, garage.poured(fluid, "4", unit="qt", typed="4 qt", unit_price=D("61.20"), price_per="L"))
    assert chain_on_hand(fluid) == 3
    assert not Movement.objects.filter(kind="draw").exists()
    assert not Customer.objects.exists()


def test_the_same_key_sells_once(garage: Garage, blade: Item) -> None:
    key = uuid.uuid4()
    assert sold(garage, pieces(blade), key=key) == sold(garage, pieces(blade), key=key)
    assert chain_on_hand(blade) == 1
    assert Payment.objects.count() == 1


def test_a_core_is_charged_with_its_part(garage: Garage) -> None:
    who: dict[str, Any] = {"actor": garage.actor, "clock": fixed(garage.now)}
    fields = {"kind": "part", "name": "Alternator", "base_unit": "each", "price": D(210), "core_deposit": D(45)}
    item = save_item(fields=fields, **who)
    opening_stock(key=uuid.uuid4(), item=item, pack=None, packs=1, unit_cost=D(120), **who)
    invoice = sold(garage, pieces(item, 1))
    assert [(line.finer, line.net) for line in invoice.operations.get().lines.all()] == [("", D(210)), ("core", D(45))]
    assert broken() == []


def test_what_comes_back_is_credited_and_stands_on_the_shelf(garage: Garage, blade: Item) -> None:
    invoice = sold(garage, pieces(blade))
    line = invoice.operations.get().lines.get()
    note = garage.credit(invoice, lines={line.pk: D(1)}, returns={line.pk: D(1)})
    assert (note.gross, note.consent) == (D("-19.84"), Invoice.Consent.SALE)
    assert chain_on_hand(blade) == 2
    garage.refund(accounts.on_invoice(invoice), "19.84", method="cash")
    garage.credit(invoice, returns={line.pk: D(1)}, bill_again=True)
    assert chain_on_hand(blade) == 3
    assert invoice.job is not None
    invoice.job.refresh_from_db()
    assert invoice.job.stage == stages.CLOSED  # what came back is sold anew, not billed again
    assert broken() == []


class TestTheConsentIsTheSale:
    def test_a_sale_with_work_on_it_is_found(
        self, garage: Garage, blade: Item, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """Planted: the verb's own checks are taken away, and the check of the books finds the sublet work."""
        for module in ("jobs.actions.counter_sale", "jobs.sold"):
            monkeypatch.setattr(f"{module}.over_the_counter", lambda kind, finer: True)
        sold(garage, {**pieces(blade), "kind": "sublet", "sublet_to": "A machine shop", "tax_class": "sublet"})
        assert broken() == []
        monkeypatch.undo()
        assert any("a counter sale with work on it" in sentence for sentence in broken())

    def test_a_job_is_no_sale(self, garage: Garage, blade: Item) -> None:
        job = garage.job([pieces(blade)])
        Job.objects.filter(pk=job.pk).update(stage=stages.FINISHED)
        with pytest.raises(Refused, match="Nothing that was authorized was done"):
            garage.issue(job)

    def test_nothing_is_added_to_a_sale(self, garage: Garage, blade: Item) -> None:
        job = sold(garage, pieces(blade)).job
        assert job is not None
        with pytest.raises(Refused, match="its work can no longer be changed"):
            garage.line(job.operations.get(), **labor())
        assert Line.objects.count() == 1


def test_a_sale_is_found_by_its_number_and_listed(garage: Garage, blade: Item, login: Login) -> None:
    invoice = sold(garage, pieces(blade))
    assert [one.object_id for one in search.find(invoice.label, kinds=["invoice"])] == [invoice.pk]
    assert [one.object_id for one in search.find("walk-in", kinds=["invoice"])] == [invoice.pk]
    reader = login("reader")
    for url in ("/", "/books/invoices/", "/books/invoices/?kind=sale", "/books/payments/"):
        assert invoice.label in reader.get(url).content.decode(), url
