"""Attacks on money, stock and records through the screens: each form is sent back as its page gave it."""

import re
import uuid
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from html.parser import HTMLParser
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection
from django.test import Client
from django.utils import timezone

from garage import database, promises
from garage.actions.merging import merge_customer
from garage.clock import fixed
from garage.models import ShopProfile
from invoicing import accounts
from invoicing.models import Invoice, InvoiceLine, Payment
from jobs.models import Job, Line
from parts.models import Item
from tests.invoicing.cast import Garage, broken, charge, labor, part
from tests.invoicing.counter_sales import pieces, sold, wiper_blade

D = Decimal


pytestmark = pytest.mark.usefixtures("real_clock")


@pytest.fixture
def client(garage: Garage, login: Callable[[str], Client]) -> Client:
    return login("owner")


class Forms(HTMLParser):
    """The forms of a page that are posted, with the values a browser would send."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[dict[str, str]] = []
        self.open, self.choice, self.text = False, "", ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        name, kind = given.get("name", ""), given.get("type", "text")
        if tag == "form":
            self.open = given.get("method") == "post" and given.get("action") != "/logout/"
            if self.open:
                self.found.append({})
        elif not self.open:
            return
        elif tag == "input" and name and kind not in ("submit", "file"):
            if kind not in ("checkbox", "radio") or "checked" in given:
                self.found[-1][name] = given.get("value", "on" if kind == "checkbox" else "")
        elif tag == "select":
            self.choice = name
        elif tag == "option" and ("selected" in given or self.choice not in self.found[-1]):
            self.found[-1][self.choice] = given.get("value", "")
        elif tag == "textarea":
            self.text, self.found[-1][name] = name, ""

    def handle_endtag(self, tag: str) -> None:
        self.open = self.open and tag != "form"
        self.text = "" if tag == "textarea" else self.text

    def handle_data(self, data: str) -> None:
        if self.text and self.open:
            self.found[-1][self.text] += data


def sent(client: Client, address: str, **typed: str) -> dict[str, str]:
    """What the page's form sends with this typed into it."""
    page = client.get(address)
    assert page.status_code == 200, (address, page.status_code)
    found = [form for form in Forms(page.content.decode()).found if typed.keys() & form.keys()]
    assert found, f"{address} has no form with {typed}"
    return {**found[0], **typed}


def press(client: Client, address: str, **typed: str) -> Any:
    """Fill in the page's form and send it."""
    return client.post(address, sent(client, address, **typed))


def words(answer: Any) -> str:
    """What a page says."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode().partition("<main")[2]))


def done(client: Client, address: str, **typed: str) -> None:
    """The same for an act that is legal; the book holds after it."""
    answer = press(client, address, **typed)
    assert answer.status_code == 303, words(answer)
    assert broken() == []


# Holes that were found


def test_a_check_that_bounces_leaves_nothing_on_one_of_two_who_are_parted_again(client: Client, garage: Garage) -> None:
    """Its money stood on the accounts of both; all of it was taken from one, and parted the other could spend it."""
    twice, one = garage.customer("Odile Marrant"), garage.customer("Odile Marrant-Quay")
    invoice = garage.issue(garage.done([labor("1")], customer=twice))
    merge_customer(customer=twice, into=one, actor=garage.actor, clock=fixed(garage.now))
    done(client, f"/customers/{one.pk}/account/pay/", amount="50.00", method="check")
    done(client, f"/invoices/{invoice.pk}/apply-credit/", amount="20.00")
    done(client, f"/invoices/{invoice.pk}/take-off/", amount="20.00")
    done(client, f"/payments/{Payment.objects.get().pk}/reverse/", reason="The check bounced.")
    assert client.post(f"/customers/{twice.pk}/part/").status_code == 303
    for row in (twice, one):
        row.refresh_from_db()
        assert accounts.credit_of(row) == 0, row
    assert broken() == []


def test_a_walk_in_pays_back_what_was_refunded_of_a_check_that_bounced(client: Client, garage: Garage) -> None:
    """It stood as owed on the account of walk-in sales for ever: nothing could be paid on it."""
    invoice = sold(garage, pieces(wiper_blade(garage)), method="check")
    done(client, f"/invoices/{invoice.pk}/credit/", reason="Brought back")
    done(client, f"/invoices/{invoice.pk}/refund/", reason="Brought back")
    done(client, f"/payments/{Payment.objects.order_by('pk')[0].pk}/reverse/", reason="The check bounced.")
    other = sold(garage, pieces(Item.objects.get(), 1))
    refused = press(client, f"/invoices/{other.pk}/take-off/", amount="19.84")
    assert refused.status_code == 422 and "has no account" in words(refused)
    page = f"/customers/{invoice.customer_id}/account/pay/"
    refused = press(client, page, amount="39.69", method="cash")
    assert refused.status_code == 422 and "has no account" in words(refused)
    done(client, page, method="cash", amount="39.68")
    assert accounts.accounts() == []


def test_what_was_paid_while_the_clock_was_ahead_can_be_reversed(client: Client, garage: Garage) -> None:
    """Its day is still to come: it was refused as before the payment, and as in the future."""
    invoice = garage.issue(garage.done([labor("1")]))
    paid = garage.pay(invoice, "10.00", clock=fixed(garage.now + timedelta(days=20)))
    yesterday = (timezone.localdate() - timedelta(days=1)).isoformat()
    refused = press(client, f"/payments/{paid.pk}/reverse/", reason="Recorded on a wrong day", paid_on=yesterday)
    assert refused.status_code == 422 and "was not reversed before" in words(refused)
    done(client, f"/payments/{paid.pk}/reverse/", reason="Recorded on a wrong day")
    assert accounts.owed(invoice) == D("128.00")


@pytest.mark.parametrize("typed", ["12 50", "1 5", "1 2345", "12 34 56", "1 234 5.00"])
def test_a_blank_between_digits_groups_thousands_or_is_asked_about(client: Client, garage: Garage, typed: str) -> None:
    """“12 50” was taken as 1,250."""
    invoice = garage.issue(garage.done([labor("20")]))
    answer = press(client, f"/invoices/{invoice.pk}/pay/", amount=typed, method="cash")
    assert answer.status_code == 422 and "is not a number" in words(answer)
    assert not Payment.objects.exists()
    done(client, f"/invoices/{invoice.pk}/pay/", amount="1\u202f234,50", method="cash")
    assert Payment.objects.get().amount == D("1234.50")


def test_half_a_charge_and_a_third_of_an_hour_can_be_credited(client: Client, garage: Garage) -> None:
    """The page's own figure was refused as no whole piece: such an invoice could not be credited."""
    half = {**charge("Waste oil", "10.00"), "quantity": D("0.5")}
    invoice = garage.issue(garage.done([half, labor("1.333")]))
    done(client, f"/invoices/{invoice.pk}/credit/", reason="Wrong customer")
    assert accounts.owed(invoice) == 0


def test_a_part_is_not_credited_by_halves(client: Client, garage: Garage) -> None:
    invoice = garage.issue(garage.done([part()]))
    line = InvoiceLine.objects.get()
    refused = press(client, f"/invoices/{invoice.pk}/credit/", reason="Half", **{f"line_{line.pk}": "0.5"})
    assert refused.status_code == 422 and "counted whole" in words(refused)


def test_nothing_is_refunded_before_it_was_paid(client: Client, garage: Garage) -> None:
    """Only a reversal asked: the till of that day would lack money that had not come."""
    paid = garage.on_account(garage.customer(), "10.00")
    page = f"/customers/{paid.customer_id}/account/refund/"
    before = (timezone.localdate() - timedelta(days=3)).isoformat()
    refused = press(client, page, amount="10.00", reason="Too much", paid_on=before)
    assert refused.status_code == 422 and "was not refunded before" in words(refused)
    done(client, page, amount="10.00", reason="Too much")


def test_what_goodwill_was_taken_off_is_not_credited_without_it(client: Client, garage: Garage) -> None:
    """More was credited than billed, and the goodwill left alone could not be credited any more."""
    job = garage.done([labor("1", "100.00"), part("Pad set", "80.00")])
    goodwill = {"description": "Sorry", "amount": "50", "tax_class": "parts"}
    assert client.post(f"/operations/{job.operations.get().pk}/goodwill/", goodwill).status_code == 303
    invoice = garage.issue(job)
    garage.pay(invoice, "132.18")
    page, less = f"/invoices/{invoice.pk}/credit/", InvoiceLine.objects.get(net__lt=0)
    refused = press(client, page, reason="All but that", **{f"line_{less.pk}": "0"})
    assert refused.status_code == 422 and "$132.18 of this invoice is left" in words(refused)
    done(client, page, reason="All of it")
    done(client, f"/invoices/{invoice.pk}/refund/", amount="132.18", reason="All of it")
    assert accounts.owed(invoice) == 0


def test_a_row_that_no_check_can_read_is_a_breach_in_words(garage: Garage) -> None:
    """The check of it ended in a traceback, and none after it was made."""
    garage.issue(garage.done([labor("1")]))
    database.remove_guards(connection)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE invoicing_estimate SET rates = '{\"x\": 1}'")
    database.install(connection)
    said = StringIO()
    with pytest.raises(CommandError, match="breaches found"):
        call_command("books_check", stdout=said)
    assert "it is not what was written" in said.getvalue()
    assert "a row holds what the program never wrote" in said.getvalue()
    assert all(name in said.getvalue() for name in promises.names())


class TestACoreThatWasHandedIn:
    @pytest.fixture
    def core(self, client: Client, garage: Garage) -> Line:
        alternator: Item = wiper_blade(garage)
        Item.objects.filter(pk=alternator.pk).update(core_deposit=D(45))
        alternator.refresh_from_db()
        garage.job([pieces(alternator, 1)])
        core = Line.objects.get(finer="core")
        assert client.post(f"/lines/{core.pk}/core-in/", {"key": str(uuid.uuid4())}).status_code == 303
        return core

    @pytest.mark.parametrize(
        "typed", [{"description": "Core, old alternator"}, {"unit_price": "5.00"}, {"unit_price": "60.00"}]
    )
    def test_it_stays_given_back_at_its_price_when_its_deposit_is_changed(
        self, client: Client, core: Line, typed: dict[str, str]
    ) -> None:
        """Any change of the deposit's line took the row off by which it was given back."""
        assert press(client, f"/lines/{core.pk}/", **typed).status_code == 303
        given_back = Line.objects.get(finer="core_refund")
        core.refresh_from_db()
        assert (given_back.quantity, given_back.unit_price) == (D(-1), core.unit_price)
        again = client.post(f"/lines/{core.pk}/core-in/", {"key": str(uuid.uuid4())}, follow=True)
        assert "was returned" in again.content.decode()
        assert Line.objects.get(finer="core_refund").quantity == -1


# Attacks that held: the book is checked after each act


def bill(client: Client, job: Job) -> Invoice:
    """Issue the job's invoice through its draft."""
    due = timezone.localdate().isoformat()
    done(client, f"/jobs/{job.pk}/invoice/", due_on=due)
    return Invoice.objects.filter(kind="invoice").latest("pk")


def with_deposits(client: Client, garage: Garage, *amounts: str) -> Job:
    """A finished job with an hour at 128.00 and a part at 74.90, and deposits on it."""
    job = garage.job([labor("1"), part()])
    garage.authorize(garage.estimate(job))
    for amount in amounts:
        done(client, f"/jobs/{job.pk}/deposit/", amount=amount, method="check")
    return garage.finish(garage.into_bay(job))


def test_a_deposit_goes_round_through_two_invoices_and_bounces_in_the_end(client: Client, garage: Garage) -> None:
    job = with_deposits(client, garage, "100.00")
    first = bill(client, job)
    done(client, f"/invoices/{first.pk}/take-off/", amount="100.00")
    done(client, f"/invoices/{first.pk}/apply-credit/", amount="60.00")
    done(client, f"/invoices/{first.pk}/apply-credit/", amount="40.00")
    done(client, f"/invoices/{first.pk}/credit/", reason="Wrong address")
    second = bill(client, job)
    done(client, f"/invoices/{first.pk}/refund/", amount="30.00", method="cash", reason="They asked for it")
    done(client, f"/invoices/{first.pk}/take-off/", amount="70.00")
    done(client, f"/invoices/{second.pk}/apply-credit/", amount="70.00")
    done(client, f"/payments/{Payment.objects.earliest('pk').pk}/reverse/", reason="The check bounced.")
    assert (accounts.owed(first), accounts.owed(second)) == (D(0), D("208.33"))
    assert accounts.credit_of(job.customer) == D("-30.00")
    done(client, f"/customers/{job.customer_id}/account/pay/", amount="30.00", method="cash")
    done(client, f"/invoices/{second.pk}/pay/", amount="208.33", method="cash")
    assert accounts.balance_of(job.customer) == 0 and accounts.accounts() == []


def test_taxed_deposits_are_credited_and_taken_off_by_turns(client: Client, garage: Garage) -> None:
    ShopProfile.objects.update(deposits_taxed=True)
    job = with_deposits(client, garage, "33.33", "50.01")
    first, (one, two) = bill(client, job), Invoice.objects.filter(kind="advance").order_by("pk")
    hour, pads = InvoiceLine.objects.filter(line__isnull=False).order_by("pk")
    third = {f"line_{hour.pk}": "0.3", f"line_{pads.pk}": "0"}
    done(client, f"/invoices/{first.pk}/credit/", reason="Too many hours", **third)
    done(client, f"/invoices/{first.pk}/credit/", reason="All of it")
    done(client, f"/invoices/{one.pk}/credit/", reason="Not taken")
    second = bill(client, job)
    refused = press(client, f"/invoices/{two.pk}/credit/", reason="Not taken")
    assert refused.status_code == 422 and "takes this advance invoice off" in words(refused)
    done(client, f"/invoices/{one.pk}/take-off/", amount="33.33")
    done(client, f"/invoices/{second.pk}/apply-credit/", amount="33.33")
    done(client, f"/invoices/{second.pk}/credit/", reason="All of it")
    done(client, f"/invoices/{two.pk}/credit/", reason="Not taken")
    for invoice, amount in ((two, "50.01"), (second, "33.33")):
        done(client, f"/invoices/{invoice.pk}/refund/", amount=amount, method="cash", reason="Sold the car")
    assert accounts.balance_of(job.customer) == 0


def test_a_key_is_one_act_on_one_page(client: Client, garage: Garage) -> None:
    one, two = (garage.issue(garage.done([labor("1")])) for _ in range(2))
    form = sent(client, f"/invoices/{one.pk}/pay/", amount="10.00", method="cash")
    taps = [client.post(f"/invoices/{one.pk}/pay/", form).status_code for _ in range(2)]
    assert taps == [303, 303] and Payment.objects.count() == 1
    assert client.post(f"/invoices/{one.pk}/pay/", {**form, "amount": "11.00"}).status_code == 422
    assert client.post(f"/invoices/{two.pk}/pay/", form).status_code == 422
    assert client.post(f"/customers/{one.customer_id}/account/pay/", form).status_code == 422
    assert Payment.objects.count() == 1 and broken() == []


def test_cores_blades_and_the_shelf_give_back_what_was_sold_and_no_more(client: Client, garage: Garage) -> None:
    blade = wiper_blade(garage)
    Item.objects.filter(pk=blade.pk).update(core_deposit=D(45))
    blade.refresh_from_db()
    invoice = sold(garage, pieces(blade, 2))
    blades, core = InvoiceLine.objects.order_by("pk")
    page, nothing = f"/invoices/{invoice.pk}/credit/", {f"line_{blades.pk}": "0"}
    for _core in range(2):
        done(client, page, reason="Core", **{f"line_{core.pk}": "1"}, **nothing)
    third = client.post(page, {"key": str(uuid.uuid4()), "reason": "Core", f"line_{core.pk}": "1", **nothing})
    assert third.status_code == 422
    half = {f"line_{blades.pk}": "1", f"return_{blades.pk}": "2"}
    refused = press(client, page, reason="Blade", **half)
    assert refused.status_code == 422 and "no more goes back" in words(refused)
    for _blade in range(2):
        done(client, page, reason="Blade", **{**half, f"return_{blades.pk}": "1"})
    refused = press(client, f"/invoices/{invoice.pk}/refund/", amount="136.22", method="cash", reason="All back")
    assert refused.status_code == 422
    done(client, f"/invoices/{invoice.pk}/refund/", amount="136.21", method="cash", reason="All back")
    note = Invoice.objects.filter(kind="credit_note").latest("pk")
    again = {"key": str(uuid.uuid4()), "reason": "Again", f"line_{note.operations.get().lines.get().pk}": "1"}
    assert client.post(f"/invoices/{note.pk}/credit/", again).status_code == 422
    blade.refresh_from_db()
    assert blade.on_hand == 3 and broken() == []
