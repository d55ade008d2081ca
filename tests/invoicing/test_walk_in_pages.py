"""The sheet on which parts are sold over the counter, and what other pages and papers say of a sale."""

import re
import uuid
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from garage import dates
from garage.actions.customers import walk_in_customer
from garage.clock import fixed
from garage.models import ShopProfile
from invoicing import accounts
from invoicing.actions.selling import ON_ACCOUNT
from invoicing.models import Invoice, Payment
from invoicing.papers import invoice_paper
from parts.models import Container, Item
from parts.queries import chain_on_hand
from tests.invoicing.cast import Garage, broken
from tests.invoicing.counter_sales import pieces, sold, wiper_blade
from tests.invoicing.test_papers import text_of

D = Decimal
Login = Callable[[str], Client]


@pytest.fixture
def garage(garage: Garage) -> Garage:
    garage.now = timezone.now()
    return garage


@pytest.fixture
def blade(garage: Garage) -> Item:
    return wiper_blade(garage)


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
            ("4", "18.50", {"method": "cash"}, "Only 3 on the shelf."),
            ("", "18.50", {"method": "cash"}, "Write how much."),
            ("1.5", "18.50", {"method": "cash"}, "Pieces are counted whole"),
            ("1", "", {"method": "cash"}, "Write the price."),
            ("1", "18.50", {}, "Choose how it is paid."),
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
    assert f"Paid in full: cash, {dates.day(walk_in.issued_on)}" in said
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


class TestABottleOpenTooLong:
    """What stands open for longer than it keeps is asked about before it is sold, together with all else."""

    def test_it_is_asked_about_and_a_new_one_may_be_opened_instead(self, garage: Garage, login: Login) -> None:
        fluid = garage.fluid()
        Item.objects.filter(pk=fluid.pk).update(open_days=365)
        old, *_ = Container.objects.filter(item=fluid).order_by("pk")
        Container.objects.filter(pk=old.pk).update(opened_at=timezone.now() - timedelta(days=400))
        client, data = login("counter"), typed((fluid, "0.5 L", "612 / L"), method="cash")
        first = client.post(URL, data).content.decode()
        priced = first.partition('name="as_it_is" value="')[2].partition('"')[0]
        asked = client.post(URL, {**data, "press": "", "as_it_is": priced})
        assert asked.status_code == 422
        page = asked.content.decode()
        assert "400 days ago, and keeps 365 days. Take it all the same?" in page
        assert not Invoice.objects.exists()
        instead = re.search(r'value="([\w ]+ instead)"', page)
        assert instead
        assert client.post(URL, {**data, "press": "", "as_it_is": instead[1]}).status_code == 303
        old.refresh_from_db()
        assert old.content == old.size
        assert broken() == []


class TestAPriceFarFromTheShelfs:
    """A slip of the decimal point is asked about once, and goes through when it is meant."""

    @pytest.mark.parametrize(
        ("price", "said"),
        [("185", "185.00"), ("999999999.00", "999,999,999.00"), ("1.85", "1.85"), ("0", "0.00")],
    )
    def test_it_is_asked_about_and_sold_once_confirmed(
        self, garage: Garage, blade: Item, login: Login, price: str, said: str
    ) -> None:
        client, data = login("counter"), typed((blade, "1", price), method="cash")
        asked = client.post(URL, data)
        page = asked.content.decode()
        assert asked.status_code == 422
        assert f"{blade}: the shelf’s price is $18.50 each, this line says ${said}." in page
        assert not Invoice.objects.exists()
        answer = page.partition('name="as_it_is" value="')[2].partition('"')[0]
        confirmed = {**data, "press": "", "as_it_is": answer}
        other = client.post(URL, {**confirmed, "lines-0-unit_price": "0.02"})
        assert other.status_code == 422, "an answer to another question is none"
        assert client.post(URL, confirmed).status_code == 303
        assert Invoice.objects.get().net == D(price)
        assert broken() == []

    @pytest.mark.parametrize("price", ["18.50", "184.99", "1.86"])
    def test_what_is_nearer_is_not_asked_about(self, garage: Garage, blade: Item, login: Login, price: str) -> None:
        assert login("counter").post(URL, typed((blade, "1", price), method="cash")).status_code == 303

    def test_a_fluid_is_compared_in_the_unit_of_its_price(self, garage: Garage, login: Login) -> None:
        fluid, client = garage.fluid(), login("counter")  # 61.20 / L is 57.92 / qt
        page = client.post(URL, typed((fluid, "1 qt", "579.17"), method="cash")).content.decode()
        assert f"{fluid}: the shelf’s price is $57.92 per qt, this line says $579.17." in page
        assert client.post(URL, typed((fluid, "1 qt", "611 / L"), method="cash")).status_code == 303
