"""What is sold over the counter: no car, no bay, and mostly no name."""

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from garage import units
from garage.clock import fixed
from invoicing import accounts
from invoicing.actions.invoices import credit
from invoicing.actions.payments import refund
from invoicing.actions.selling import ON_ACCOUNT, sell
from invoicing.demo.buying import restock
from invoicing.demo.cast import COMPANIES
from invoicing.demo.garage import Garage, Script
from invoicing.models import Invoice
from jobs.actions.writing_up import kind_of
from jobs.models import Line
from parts import queries as shelf
from parts.models import Item

D = Decimal

#: What is asked for: the item's number, and how much as it is said.
Asked = tuple[str, str]


def scripts(garage: Garage) -> Iterator[Script]:
    """Every sale, in no order: the clock sorts them."""
    blades, oil, bulb, cleaner, wash = (
        ("WB-24", "2"),
        ("EO-530", "1 qt"),
        ("LB-55", "2"),
        ("BC-5", "1"),
        ("WF-1", "1 gal"),
    )
    for days, hour, method, asked in (
        (612, 10, "cash", (blades,)), (388, 15, "card", (wash, cleaner)), (201, 9, "cash", (oil,)),
        (74, 16, "card", (("EO-530", "2 qt"), ("OF-12", "1"))), (33, 11, "cash", (blades, oil)),
    ):  # fmt: skip
        yield sale(garage, garage.at(days, hour, 40), method, asked)
    yield brought_back(garage, garage.at(12, 10, 5), bulb)
    yield sale(garage, garage.at(6, 14, 20), ON_ACCOUNT, (("WF-1", "2 gal"), blades), to=COMPANIES[0].name)
    yield sale(garage, garage.latest - dt.timedelta(minutes=50), "cash", (blades, ("EO-530", "1 qt")))


def sale(garage: Garage, moment: dt.datetime, method: str, asked: tuple[Asked, ...], to: str = "") -> Script:
    """Somebody comes in and buys; what the shelf lacks was fetched that morning."""
    yield moment
    _sell(garage, moment, method, asked, to)


def brought_back(garage: Garage, moment: dt.datetime, bulbs: Asked) -> Script:
    """Two bulbs, one of them not needed after all: credited, back on the shelf, and the money given back."""
    yield moment
    invoice = _sell(garage, moment, "card", (bulbs,))
    moment += dt.timedelta(hours=3)
    yield moment
    line = invoice.operations.get().lines.get()
    note = credit(
        key=garage.key(), invoice=invoice, lines={line.pk: D(1)}, returns={line.pk: D(1)}, reason="One was not needed.",
        actor=garage.counter, clock=fixed(moment),
    )  # fmt: skip
    refund(
        key=garage.key(), place=accounts.on_invoice(invoice), amount=-note.gross, method="card",
        reason="Bulb brought back.", actor=garage.counter, clock=fixed(moment),
    )  # fmt: skip


def _sell(garage: Garage, now: dt.datetime, method: str, asked: tuple[Asked, ...], to: str = "") -> Invoice:
    lines = [_line(garage, number, said) for number, said in asked]
    lacking = [line["item"].pk for line in lines if shelf.chain_on_hand(line["item"]) < _in_base(line)]
    if lacking:
        restock(garage, shelf.items_today().filter(pk__in=lacking), now - dt.timedelta(hours=1))
    customer = garage.customers[to] if to else None
    return sell(key=garage.key(), lines=lines, method=method, customer=customer, actor=garage.counter, clock=fixed(now))


def _line(garage: Garage, number: str, said: str) -> dict[str, Any]:
    item = Item.objects.get(pk=shelf.current_item(garage.items[number]).pk)  # as it is today: its price has moved
    quantity, unit = units.parse_quantity(said, item.base_unit)
    return {
        "kind": kind_of(item),
        "item": item,
        "description": str(item),
        "condition": Line.Condition.NEW,
        "quantity": quantity,
        "unit": unit,
        "typed": said,
        "unit_price": shelf.price_of(item),
        "price_per": item.base_unit,
        "tax_class": item.tax_class,
    }


def _in_base(line: dict[str, Any]) -> Decimal:
    return units.convert(line["quantity"], line["unit"], line["item"].base_unit)
