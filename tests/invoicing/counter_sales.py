"""What the tests of counter sales stand on: wiper blades, and the sale itself."""

import uuid
from decimal import Decimal
from typing import Any

from garage.clock import fixed
from invoicing.actions.selling import sell
from invoicing.models import Invoice
from parts.actions.items import save_item
from parts.actions.receiving import opening_stock
from parts.models import Item
from tests.invoicing.cast import Garage, part

D = Decimal
QUART = D("0.946352946")  # liters, exactly (NIST Handbook 44, Appendix C)


def wiper_blade(garage: Garage) -> Item:
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
