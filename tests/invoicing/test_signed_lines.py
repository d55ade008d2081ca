"""Lines below zero, cores, what a credit sends back to the shelf, and whose cost it bears; through the screens."""

import uuid
from decimal import Decimal

import pytest
from django.db.models import Sum
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from garage.clock import fixed
from garage.errors import Refused
from invoicing import promises
from invoicing.models import Invoice, InvoiceLine
from jobs.consent import AUTHORIZED
from jobs.consents import consent_of
from jobs.models import Draw, Line
from parts.actions.items import save_item
from parts.actions.receiving import opening_stock
from parts.models import Item
from tests.invoicing.cast import Garage, labor, part

D = Decimal


@pytest.fixture
def garage(garage: Garage) -> Garage:
    """These tests go through the pages, whose clock is the real one."""
    garage.now = timezone.now()
    return garage


@pytest.fixture
def client(garage: Garage, login: object) -> Client:
    return login("counter")  # type: ignore[operator]


@pytest.fixture
def alternator(garage: Garage) -> Item:
    """Three on the shelf at 90.00, sold at 140.00 with a core deposit of 45.00."""
    fields = {
        "kind": "part", "name": "Alternator AL-70", "base_unit": "each", "price": D(140), "core_deposit": D(45),
    }  # fmt: skip
    item = save_item(actor=garage.actor, clock=fixed(garage.now), fields=fields, packs=[("one", D(1), "1", "")])
    opening_stock(
        key=uuid.uuid4(), item=item, pack=item.packs.get(), packs=3, unit_cost=D(90), actor=garage.actor,
        clock=fixed(garage.now),
    )  # fmt: skip
    return item


def fitted(item: Item, quantity: str = "1") -> dict[str, object]:
    return part(str(item), "140.00", quantity, item=item)


def margin_cost(invoice: Invoice) -> Decimal:
    """The cost over all papers of a job."""
    lines = InvoiceLine.objects.filter(invoice_operation__invoice__job=invoice.job_id)
    return lines.aggregate(sum=Sum("cost"))["sum"] or D(0)


def shelf_cost(invoice: Invoice) -> Decimal:
    """What the shelf gave up for a job, from its movements."""
    draws = Draw.objects.filter(line__operation__job=invoice.job_id).select_related("movement")
    return sum((-draw.movement.value for draw in draws), D(0))


class TestGoodwill:
    def test_base_and_tax_fall_and_nobody_is_asked_again(self, client: Client, garage: Garage) -> None:
        job = garage.done([labor("1", "100.00"), part("Pad set", "80.00")])
        operation = job.operations.get()
        page = reverse("jobs:goodwill-add", args=[operation.pk])
        answer = client.post(page, {"description": "It took a day longer", "amount": "20", "tax_class": "parts"})
        assert answer.status_code == 303
        assert consent_of(job).of(operation.pk).state == AUTHORIZED
        invoice = garage.issue(job)
        assert (invoice.net, invoice.tax) == (D(160), D("4.35"))  # 7.25 % of 60.00
        assert "−20.00" in client.get(reverse("invoicing:invoice", args=[invoice.pk])).content.decode()

    @pytest.mark.parametrize("missing", ["description", "amount", "tax_class"])
    def test_words_amount_and_tax_class_are_asked_for(self, client: Client, garage: Garage, missing: str) -> None:
        operation = garage.job([labor()]).operations.get()
        data = {"description": "Kept", "amount": "20", "tax_class": "labor"}
        answer = client.post(reverse("jobs:goodwill-add", args=[operation.pk]), {**data, missing: ""})
        assert answer.status_code == 422
        assert "This field is required" not in answer.content.decode()
        assert operation.lines.count() == 1

    def test_only_goodwill_takes_off(self, garage: Garage) -> None:
        with pytest.raises(Refused, match="Goodwill takes off"):
            garage.job([labor("1", "-5.00")])

    def test_an_invoice_below_zero_is_refused_with_the_way_out(self, client: Client, garage: Garage) -> None:
        job = garage.done([labor("1", "100.00")])
        goodwill = {"description": "Sorry", "amount": "120", "tax_class": "labor"}
        client.post(reverse("jobs:goodwill-add", args=[job.operations.get().pk]), goodwill)
        page = client.get(reverse("invoicing:invoice-make", args=[job.pk])).content.decode()
        assert "an invoice cannot owe the customer money" in page
        with pytest.raises(Refused, match="Lower the goodwill"):
            garage.issue(job)


class TestCores:
    def test_a_core_comes_with_its_part_and_follows_it(self, client: Client, garage: Garage, alternator: Item) -> None:
        job = garage.job([fitted(alternator)])
        part_line, core = Line.objects.order_by("pk")
        assert (core.finer, core.under, core.unit_price, core.quantity, core.tax_class) == (
            "core", part_line, D(45), D(1), "parts",
        )  # fmt: skip
        edit = {"item": alternator.pk, "description": str(alternator), "quantity": "2", "unit_price": "140.00"}
        edit |= {"tax_class": "parts", "condition": "new"}
        client.post(reverse("jobs:line-edit", args=[part_line.pk]), edit)
        core.refresh_from_db()
        assert core.quantity == 2
        removed = client.post(reverse("jobs:line-remove", args=[part_line.pk]), follow=True)
        assert not Line.objects.exists()
        assert removed.status_code == 200
        assert job.operations.count() == 1

    def test_handed_in_before_the_invoice_it_comes_off(self, client: Client, garage: Garage, alternator: Item) -> None:
        job = garage.done([fitted(alternator)])
        core = Line.objects.get(finer="core")
        assert "Record core return" in client.get(reverse("jobs:sheet", args=[job.pk])).content.decode()
        client.post(reverse("jobs:core-in", args=[core.pk]))
        client.post(reverse("jobs:core-in", args=[core.pk]))  # there is but one
        assert [str(row) for row in Line.objects.filter(finer="core_refund")] == [f"Core returned, {alternator}"]
        invoice = garage.issue(job)
        assert (invoice.net, invoice.tax) == (D(140), D("10.15"))  # 7.25 % of 140.00
        refund = InvoiceLine.objects.get(finer="core_refund")
        named = InvoiceLine.objects.get(invoice_operation=refund.invoice_operation, position=refund.under)
        assert (refund.quantity, named.finer) == (D(-1), "core")
        with pytest.raises(Refused, match="returned before the invoice"):
            garage.credit(invoice, lines={named.pk: D(1)})
        assert garage.credit(invoice).gross == -invoice.gross

    def test_handed_in_after_the_invoice_its_line_is_credited(
        self, client: Client, garage: Garage, alternator: Item
    ) -> None:
        invoice = garage.issue(garage.done([fitted(alternator)]))
        core = InvoiceLine.objects.get(finer="core")
        page = reverse("invoicing:credit", args=[invoice.pk])
        assert f"{page}?core={core.pk}" in client.get(reverse("invoicing:invoice", args=[invoice.pk])).content.decode()
        form = client.get(page, {"core": core.pk}).context["form"]
        data = {name: bound.value() for name in form.fields if (bound := form[name]).value() is not None}
        client.post(page, {**data, "mail_to": ""})
        note = invoice.credit_notes.get()
        assert (note.net, note.gross, note.notices["reason"]) == (D(-45), D("-48.26"), "Core returned")
        assert client.get(reverse("invoicing:invoice", args=[invoice.pk])).context["cores"] == []
        with pytest.raises(Refused, match="can still be credited"):
            garage.credit(invoice, lines={core.pk: D(1)})


class TestBackToTheShelf:
    def test_a_part_of_it_goes_back_in_the_unit_billed(self, client: Client, garage: Garage) -> None:
        """1.9 qt poured, 1 qt of it credited, half a quart comes back: 0.473176473 L (NIST Handbook 44, App. C)."""
        fluid = garage.fluid()
        quarts = {"quantity": D("1.9"), "unit": "qt", "typed": "1.9 qt", "unit_price": D("61.20"), "price_per": "L"}
        job = garage.job([garage.poured(fluid, "1", **quarts)])
        garage.authorize(garage.estimate(job))
        garage.into_bay(job)
        line = Line.objects.get()
        garage.draw(line, str(line.base_quantity))
        invoice = garage.issue(garage.finish(job))
        billed = InvoiceLine.objects.get()
        fluid.refresh_from_db()
        before, cost = fluid.on_hand, billed.cost
        page = reverse("invoicing:credit", args=[invoice.pk])
        form = client.get(page).context["form"]
        assert form[f"return_{billed.pk}"].value() is None  # nothing is said for the clerk
        data = {"key": str(uuid.uuid4()), "reason": "Too much", f"line_{billed.pk}": "1", f"return_{billed.pk}": "0.5"}
        assert client.post(page, data).status_code == 302 or invoice.credit_notes.exists()
        fluid.refresh_from_db()
        assert fluid.on_hand - before == D("0.473176473")
        note = invoice.credit_notes.get()
        assert note.notices["shelf"] == [f"{billed}: 0.500 qt back on the shelf, 0.500 qt stays out."]
        back = InvoiceLine.objects.get(credits=billed)
        assert (back.quantity, back.base_quantity) == (D(-1), D("-0.473176473"))
        assert back.cost == -(D("0.473176473") * 36).quantize(D("0.000001"))
        assert margin_cost(invoice) == cost + back.cost
        assert [*promises.costs_count_once()] == []

    def test_no_more_goes_back_than_is_credited(self, garage: Garage, alternator: Item) -> None:
        invoice = garage.issue(garage.done([fitted(alternator, "2")]))
        billed = InvoiceLine.objects.get(kind="part")
        with pytest.raises(Refused, match="is credited"):
            garage.credit(invoice, lines={billed.pk: D(1)}, returns={billed.pk: D(2)})
        assert not invoice.credit_notes.exists()

    @pytest.mark.parametrize("returned", ["0", "1"])
    def test_credited_and_billed_again_each_draw_counts_once(
        self, garage: Garage, alternator: Item, returned: str
    ) -> None:
        job = garage.done([fitted(alternator, "2")])
        first = garage.issue(job)
        assert margin_cost(first) == shelf_cost(first) == D(180)
        billed = InvoiceLine.objects.get(kind="part")
        garage.credit(first, returns={billed.pk: D(returned)})
        assert margin_cost(first) == 0
        garage.issue(job)
        assert margin_cost(first) == 180 - 90 * D(returned)
        assert [*promises.costs_count_once()] == []

    def test_given_up_for_good_it_stays_a_cost(self, garage: Garage, alternator: Item) -> None:
        invoice = garage.issue(garage.done([fitted(alternator)]))
        garage.credit(invoice, bill_again=False)
        assert margin_cost(invoice) == D(90)
        assert [*promises.costs_count_once()] == []

    @pytest.mark.parametrize("returned", ["0", "1"])
    def test_what_an_earlier_note_credited_is_not_borne_twice_either(
        self, garage: Garage, alternator: Item, login, returned: str
    ) -> None:
        job = garage.done([labor(), fitted(alternator, "2")])
        first = garage.issue(job)
        billed = InvoiceLine.objects.get(kind="part")
        garage.credit(first, lines={billed.pk: D(2)}, returns={billed.pk: D(returned)})
        assert margin_cost(first) == 180 - 90 * D(returned)  # what stays out was given up, until it is billed again
        note = garage.credit(first)
        assert margin_cost(first) == 0
        page = login("owner").get(reverse("invoicing:invoice", args=[note.pk]))
        assert [[line.what for line in row.lines] for row in page.context["operations"]] == [
            ["Labor", "Core deposit, Alternator AL-70"]
        ]
        garage.issue(job)
        assert margin_cost(first) == 180 - 90 * D(returned)
        assert [*promises.costs_count_once(), *promises.invoices_sealed(), *promises.sums_hold()] == []
