"""The stranger who works every figure out anew finds a sound book sound, and each kind of figure that was changed.

The demo is worked out in test_demo.py, where it is loaded; the books of random sequences in random_book.py.
"""

import datetime as dt
import uuid
from collections.abc import Callable
from copy import deepcopy
from decimal import Decimal
from typing import Any

import pytest

from garage.clock import fixed
from invoicing import accounts
from invoicing.models import InvoiceLine
from jobs.models import Job, Line
from parts.actions.receiving import opening_stock
from parts.actions.stock import adjust, reverse, waste
from parts.models import Container, Movement, Pack
from tests.invoicing.cast import Garage, labor
from tests.invoicing.random_book import cast, rows_of
from tests.invoicing.raw_rows import Book, Row
from tests.invoicing.recomputed import recomputed

D = Decimal

#: A figure that is changed by one of its smallest units (in the first row that has it), and the kind that tells it.
PLANTED = [
    ("invoicing_invoiceline", "net", "net of a line"),
    ("invoicing_invoiceline", "quantity", "printed quantity"),
    ("invoicing_invoiceline", "unit_price", "printed price"),
    ("invoicing_invoiceline", "cost", "cost of a line"),
    ("invoicing_invoiceoperation", "net", "net of an operation"),
    ("invoicing_invoice", "labor_net", "labor_net of a paper"),
    ("invoicing_invoice", "parts_net", "parts_net of a paper"),
    ("invoicing_invoice", "other_net", "other_net of a paper"),
    ("invoicing_invoice", "net", "net of a paper"),
    ("invoicing_invoice", "tax", "tax of a paper"),
    ("invoicing_invoice", "gross", "gross of a paper"),
    ("invoicing_invoice", "number", "numbers of a series"),
    ("invoicing_invoicetax", "base", "tax base"),
    ("invoicing_invoicetax", "tax", "tax"),
    ("invoicing_invoicetax", "rate", "taxes of the day"),
    ("invoicing_estimateline", "net", "net of a line"),
    ("invoicing_estimateoperation", "gross", "gross of an operation"),
    ("invoicing_estimate", "tax", "tax of a paper"),
    ("invoicing_receivable", "balance", "balance of an invoice"),
    ("invoicing_payment", "amount", "balance of a customer"),
    ("invoicing_payment", "amount", "parts of money"),
    ("invoicing_paymentpart", "amount", "balance of an invoice"),
    ("invoicing_allocation", "amount", "parts of money"),
    ("parts_movement", "value", "value of a movement"),
    ("parts_movement", "quantity", "content and value"),
    ("parts_container", "content", "content and value"),
    ("parts_container", "value", "content and value"),
    ("parts_container", "unit_cost", "value of a movement"),
    ("parts_item", "on_hand", "stock of an item"),
    ("parts_item", "stock_value", "stock of an item"),
    ("parts_receiptline", "pack_price", "value of a movement"),
]
#: Changed in the rows that a condition picks: what is wrong on a credit note, or with stock that went and came back.
PLANTED_THERE: list[tuple[str, Callable[[Row], bool], str, str]] = [
    ("invoicing_invoiceline", lambda row: row["item_id"] is not None, "base_quantity", "drawn for a line"),
    ("invoicing_invoicetax", lambda row: row["tax"] < 0, "tax", "tax credited so far"),
    ("invoicing_invoiceline", lambda row: row["credits_id"] is not None, "net", "net of a credited line"),
    ("invoicing_invoiceline", lambda row: row["credits_id"] is not None, "unit_price", "credited price"),
    ("parts_movement", lambda row: row["kind"] == "draw", "value", "value of a movement"),
    ("parts_movement", lambda row: row["kind"] == "return", "value", "value of a movement"),
    ("parts_movement", lambda row: row["kind"] == "reversal", "value", "value of a movement"),
    ("parts_movement", lambda row: row["kind"] == "waste", "value", "value of a movement"),
    ("parts_movement", lambda row: row["kind"] == "count", "value", "value of a movement"),
    ("invoicing_paymentpart", lambda row: row["allocation_id"] is not None, "amount", "moved money"),
    ("invoicing_paymentpart", lambda row: row["payment_id"] is not None and row["amount"] < 0, "amount", "money taken"),
]


@pytest.fixture
def dump(garage: Garage) -> dict[str, list[dict[str, Any]]]:
    """The raw rows of a book in which everything happened once: credits, a deposit, a refund, waste, counts, undone."""
    cast(garage)
    invoice = garage.issue(Job.objects.get(stage="finished"))
    garage.now += dt.timedelta(hours=1)
    who: dict[str, Any] = {"actor": garage.actor, "clock": fixed(garage.now)}
    line = InvoiceLine.objects.filter(invoice_operation__invoice=invoice).latest("pk")
    garage.credit(invoice, lines={line.pk: line.quantity / 2}, returns={line.pk: line.quantity / 4})
    garage.credit(invoice)
    deposit = Job.objects.latest("pk")
    garage.move(accounts.on_job(deposit), accounts.on_account(deposit.customer), "20.00")
    garage.refund(accounts.on_account(deposit.customer), "20.00")
    garage.reverse(garage.on_account(deposit.customer, "7.00"))
    pads = Line.objects.get(item__name="Pad set")
    garage.authorize(garage.estimate(pads.operation.job))
    garage.into_bay(pads.operation.job)
    garage.draw(pads, "2")
    garage.bring_back(pads, "1")
    box = Container.objects.filter(item__name="Axle oil", content__gt="0.9").earliest("pk")
    waste(key=uuid.uuid4(), container=box, quantity=D("0.25"), reason="spilled", **who)
    for content in ("0.7", "0.75"):
        adjust(key=uuid.uuid4(), container=box, content=D(content), **who)
    reverse(movement=Movement.objects.get(kind="waste"), reason="it was not", **who)
    garage.line(garage.operation(pads.operation.job, "More", labor()), **labor("0.5"))
    quart = Pack.objects.get(label="1 qt bottle")
    opened: dict[str, Any] = {"packs": 0, "unit_cost": D(250), "opened_content": quart.size}
    opening_stock(key=uuid.uuid4(), item=quart.item, pack=quart, **opened, **who)
    tables = {
        "garage_customer", "garage_siderow", "garage_auditentry", "invoicing_taxrate", "jobs_draw",
        *(row[0] for row in PLANTED),
    }  # fmt: skip
    return {table: rows_of(table) for table in tables}


def test_a_sound_book_is_what_its_rows_come_to_and_each_changed_figure_is_told(dump: dict[str, list[Row]]) -> None:
    book = Book(dump.__getitem__)
    assert list(recomputed(book, as_it_went=True)) == []
    kinds = {row[-1] for row in PLANTED} | {row[-1] for row in PLANTED_THERE}
    assert {kind for kind in kinds if not book.checked[kind]} == set()
    everywhere = [(table, lambda row: True, column, kind) for table, column, kind in PLANTED]
    for table, there, column, kind in [*everywhere, *PLANTED_THERE]:
        changed = deepcopy(dump)
        row = next(row for row in sorted(changed[table], key=lambda row: row["id"]) if row[column] and there(row))
        row[column] += 1 if row[column] > 0 else -1
        told = {wrong.what.partition(":")[0] for wrong in recomputed(Book(changed.__getitem__), as_it_went=True)}
        assert kind in told, f"{table}.{column} changed by one: {sorted(told)}"
