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

from garage import promises, search
from garage.actions.customers import save_customer, walk_in_customer
from garage.actions.merging import merge_customer
from garage.actions.vehicles import save_vehicle
from garage.clock import fixed
from garage.errors import Refused
from garage.models import Customer, ShopProfile
from garage.shop import day_words
from invoicing import accounts
from invoicing.actions.selling import ON_ACCOUNT, sell
from invoicing.models import Authorization, Estimate, Invoice, Payment
from invoicing.papers import invoice_paper
from jobs import stages
from jobs.actions.intake import open_job
from jobs.models import Job, Line
from parts.actions.items import save_item
from parts.actions.receiving import opening_stock
from parts.models import Item, Movement
from parts.queries import chain_on_hand
from tests.invoicing.cast import Garage, labor, part
from tests.invoicing.test_papers import text_of

D = Decimal
Login = Callable[[str], Client]
QUART = D("0.946352946")  # liters, exactly (NIST Handbook 44, Appendix C)


@pytest.fixture
def garage(garage: Garage) -> Garage:
    garage.now = timezone.now()
    return garage


@pytest.fixture
def blade(garage: Garage) -> Item:
    """Wiper blades: three on the shelf at 9.40, sold at 18.50."""
    who: dict[str, Any] = {"actor": garage.actor, "clock": fixed(garage.now)}
    fields = {"kind": "part", "name": "Wiper blade 22", "brand": "Fell", "base_unit": "each", "price": D("18.50")}
    item = save_item(fields=fields, **who)
    opening_stock(key=uuid.uuid4(), item=item, pack=None, packs=3, unit_cost=D("9.40"), **who)
    return item


def pieces(item: Item, number: int = 2) -> dict[str, Any]:
    """The fields of a line of pieces at the item's own price."""
    return part(str(item), price=str(item.price), quantity=str(number), item=item)


def quart(garage: Garage, item: Item) -> dict[str, Any]:
    """A quart of a fluid priced at 61.20 a liter."""
    return garage.poured(item, "1", unit="qt", typed="1 qt", unit_price=D("61.20"), price_per="L")


def sold(garage: Garage, *lines: dict[str, Any], **more: Any) -> Invoice:
    given = {"key": uuid.uuid4(), "method": "cash", "actor": garage.actor, "clock": fixed(garage.now), **more}
    return sell(lines=lines, **given)


def broken() -> list[str]:
    return [sentence for _promise, found in promises.run() for sentence in found]


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
        no_name = "stands for everybody who buys at the counter without a name"
        with pytest.raises(Refused, match=no_name):
            save_customer(customer=nobody, fields={"name": "Zelda Fenn"}, phones=[], emails=[], **who)
        with pytest.raises(Refused, match="merged with none"):
            merge_customer(customer=nobody, into=odile, **who)
        with pytest.raises(Refused, match="merged with none"):
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
    with pytest.raises(Refused, match=r"Only 3 of Fell Wiper blade 22 is on the shelf; 4 is wanted\.") as refused:
        sold(garage, quart(garage, fluid), pieces(blade, 4))
    assert refused.value.field == "lines-1-quantity"
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


URL = "/counter/sell/"


def typed(*rows: tuple[Item, str, str], press: str = "sell", **more: str) -> dict[str, str]:
    """The sheet as a browser sends it."""
    data = {"key": str(uuid.uuid4()), "lines": str(len(rows)), "press": press, "what": "", "who": "", "customer": ""}
    for at, (item, quantity, price) in enumerate(rows):
        data |= {f"lines-{at}-item": str(item.pk), f"lines-{at}-quantity": quantity, f"lines-{at}-unit_price": price}
    return {**data, **more}


class TestTheSheet:
    def test_it_is_reached_from_the_counter_and_begins_empty(self, garage: Garage, login: Login) -> None:
        client = login("counter")
        assert f'href="{URL}"' in client.get("/counter/").content.decode()
        page = client.get(URL).content.decode()
        assert "Nothing is on the sheet yet" in page
        assert "Labor and sublet work make it a job" in page
        assert 'href="/counter/new/"' in page

    def test_what_is_typed_is_found_with_what_is_there_and_added(
        self, garage: Garage, blade: Item, login: Login
    ) -> None:
        fluid, client = garage.fluid(), login("counter")
        found = client.post(URL, typed(press="", what="f")).content.decode()
        assert f"add {blade.pk}" in found
        assert "3 on the shelf" in found
        added = client.post(URL, typed(press=f"add {blade.pk}", what="f")).content.decode()
        assert 'name="lines-0-quantity" value="1"' in added
        assert 'value="18.50"' in added
        two = client.post(URL, typed((blade, "2", "18.50"), press=f"add {fluid.pk}")).content.decode()
        assert 'name="lines-0-quantity" value="2"' in two
        assert 'value="61.20 / L"' in two
        assert "$39.68" in two  # the blades with tax; the fluid has no quantity yet
        less = client.post(URL, typed((blade, "2", "18.50"), (fluid, "1 qt", "61.20 / L"), press="remove 0"))
        assert 'name="lines-0-quantity" value="1 qt"' in less.content.decode()
        assert "57.92" in less.content.decode()

    def test_enter_adds_what_only_one_item_answers_to(self, garage: Garage, blade: Item, login: Login) -> None:
        garage.fluid()
        page = login("counter").post(URL, typed(press="find", what="wiper")).content.decode()
        assert f'name="lines-0-item" value="{blade.pk}"' in page

    def test_labor_is_not_found_and_the_way_to_a_job_is_said(self, garage: Garage, blade: Item, login: Login) -> None:
        page = login("counter").post(URL, typed(press="find", what="labor")).content.decode()
        assert "Labor and sublet work are not sold here" in page

    def test_sold(self, garage: Garage, blade: Item, login: Login) -> None:
        fluid, client = garage.fluid(), login("counter")
        data = typed((blade, "2", "18.50"), (fluid, "1 qt", "61.20 / L"), method="card", reference="4711")
        shown = client.post(URL, {**data, "press": ""}).content.decode()
        assert "$101.80" in shown
        reply = client.post(URL, data)
        invoice = Invoice.objects.get()
        assert (reply.status_code, reply["Location"]) == (303, f"/invoices/{invoice.pk}/")
        assert invoice.gross == D("101.80")
        assert Payment.objects.get().reference == "4711"
        assert client.post(URL, data)["Location"] == f"/invoices/{invoice.pk}/"  # a second tap
        assert Invoice.objects.count() == 1
        page = client.get(f"/invoices/{invoice.pk}/").content.decode()
        assert "Walk-in sale" in page
        assert "Paid on" in page
        assert broken() == []

    @pytest.mark.parametrize(
        ("quantity", "price", "more", "sentence"),
        [
            ("4", "18.50", {"method": "cash"}, "Only 3 of Fell Wiper blade 22 is on the shelf; 4 is wanted."),
            ("", "18.50", {"method": "cash"}, "Write how much."),
            ("1.5", "18.50", {"method": "cash"}, "Pieces are counted whole"),
            ("1", "", {"method": "cash"}, "Write the price."),
            ("1", "18.50", {}, "Say how it is paid."),
            ("1", "18.50", {"method": "account"}, "A sale on account needs a customer"),
        ],
    )
    def test_a_refusal_stands_beside_its_field_and_nothing_is_lost(
        self, quantity: str, price: str, more: dict[str, str], sentence: str, garage: Garage, blade: Item, login: Login
    ) -> None:
        fluid = garage.fluid()
        data = typed((fluid, "1 qt", "61.20 / L"), (blade, quantity, price), reference="4711", **more)
        reply = login("counter").post(URL, data)
        page = reply.content.decode()
        assert reply.status_code == 422
        assert sentence in page
        assert 'value="1 qt"' in page
        assert 'value="4711"' in page
        if "method" not in sentence and "paid" not in sentence and "account" not in sentence:
            assert 'href="#id_lines-1-' in page
        assert not Invoice.objects.exists()
        assert chain_on_hand(fluid) == 3

    def test_nothing_is_chosen_beforehand(self, garage: Garage, blade: Item, login: Login) -> None:
        page = login("counter").post(URL, typed((blade, "1", "18.50"), press="")).content.decode()
        assert " checked" not in page

    def test_a_customer_is_found_chosen_and_left_out_again(self, garage: Garage, blade: Item, login: Login) -> None:
        odile, client, row = garage.customer(order_number_required=True), login("counter"), (blade, "1", "18.50")
        walk_in_customer(actor=garage.actor, clock=fixed(garage.now))
        assert "Walk-in" not in client.post(URL, typed(row, press="", who="walk")).content.decode()
        assert f"for {odile.pk}" in client.post(URL, typed(row, press="", who="odile")).content.decode()
        chosen = client.post(URL, typed(row, press=f"for {odile.pk}", who="odile")).content.decode()
        assert "Their order number" in chosen
        without = client.post(URL, typed(row, press="for 0", customer=str(odile.pk))).content.decode()
        assert "For a customer" in without
        client.post(URL, typed(row, customer=str(odile.pk), method="account", order_number="PO 12"))
        invoice = Invoice.objects.get()
        assert (invoice.customer, invoice.order_number, accounts.owed(invoice)) == (odile, "PO 12", D("19.84"))

    def test_a_customers_exemption_counts(self, garage: Garage, blade: Item, login: Login) -> None:
        fire = garage.customer("Fire company", tax_exempt=True, exemption_certificate="X-1")
        data = typed((blade, "1", "18.50"), customer=str(fire.pk), method="cash")
        assert "$18.50" in login("counter").post(URL, {**data, "press": ""}).content.decode()
        login("counter").post(URL, data)
        assert Invoice.objects.get().gross == D("18.50")


def test_the_walk_in_customers_page_offers_no_act_of_a_customer(garage: Garage, blade: Item, login: Login) -> None:
    invoice = sold(garage, pieces(blade))
    page = login("counter").get(f"/customers/{invoice.customer_id}/").content.decode()
    assert invoice.label in page
    for act in ("edit/", "merge/", "/counter/new/?customer", "/vehicles/new/?customer", "/account/"):
        assert act not in page, act


def test_the_paper_says_that_it_is_paid_and_nothing_of_a_car_or_a_warranty_on_work(
    garage: Garage, blade: Item, shop: ShopProfile
) -> None:
    ShopProfile.objects.update(warranty_text="12 months on this work.")
    walk_in = sold(garage, pieces(blade))
    later = sold(garage, pieces(blade, 1), customer=garage.customer(), method=ON_ACCOUNT)
    said = " ".join(text_of(invoice_paper(walk_in.pk)).split())
    assert "Customer Walk-in sale" in said
    assert f"Paid in full: cash, {day_words(walk_in.issued_on)}" in said
    assert f"sale {walk_in.job.number if walk_in.job else 0}" in said
    for word in ("Total due", "Vehicle", "Warranty", "Authoriz"):
        assert word not in said
    owed = " ".join(text_of(invoice_paper(later.pk)).split())
    assert "Total due" in owed
    assert "Paid in full" not in owed


def test_the_sheet_of_a_sale_says_what_it_is(garage: Garage, blade: Item, login: Login) -> None:
    job = sold(garage, pieces(blade)).job
    assert job is not None
    page = login("counter").get(f"/jobs/{job.pk}/").content.decode()
    assert "sold at the counter" in page
    for word in ("no work before that", "not decided", "no vehicle", "Add photos"):
        assert word not in page


def test_the_credit_of_a_sale_does_not_offer_to_bill_it_again(garage: Garage, blade: Item, login: Login) -> None:
    invoice = sold(garage, pieces(blade))
    page = login("counter").get(f"/invoices/{invoice.pk}/credit/").content.decode()
    assert "will be invoiced again" not in page
    assert "Return to shelf" in page
