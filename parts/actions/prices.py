"""What suppliers ask for a pack, and the markup that makes a price of a cost."""

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal

from garage import audit, shop
from garage.clock import Clock
from garage.errors import Refused
from garage.models import User
from garage.writing import writing
from parts.models import MarkupBand, Pack, ReceiptLine, Supplier, SupplierPrice
from parts.pricing import Band, selling_price


def learn_price(
    *,
    pack: Pack,
    supplier: Supplier,
    price: Decimal,
    on: dt.date,
    number: str = "",
    receipt_line: ReceiptLine | None = None,
) -> SupplierPrice:
    """Keep what a supplier asks for a pack from `on`; part of a verb, inside its transaction."""
    before = SupplierPrice.objects.filter(pack=pack, supplier=supplier, current=True).first()
    if before is not None:
        number = number or before.number
        before.current = False
        before.save(update_fields=["current"])
    return SupplierPrice.objects.create(
        pack=pack, supplier=supplier, price=price, since=on, number=number, receipt_line=receipt_line
    )


def forget_prices(*, receipt_line: ReceiptLine) -> None:
    """Take back what a line of a delivery taught about prices: the one before it counts again; part of a verb."""
    for row in SupplierPrice.objects.filter(receipt_line=receipt_line, taken_back=False):
        row.taken_back, row.current = True, False
        row.save(update_fields=["taken_back", "current"])
        rows = SupplierPrice.objects.filter(pack=row.pack_id, supplier=row.supplier_id, taken_back=False)
        newest = rows.order_by("-pk").first()
        if newest is not None and not newest.current:
            newest.current = True
            newest.save(update_fields=["current"])


@writing()
def set_pack_price(
    *, pack: Pack, supplier: Supplier, price: Decimal, number: str = "", actor: User | None, clock: Clock
) -> SupplierPrice:
    """Write down what a supplier asks for a pack, without a delivery."""
    now = clock()
    if price < 0:
        raise Refused("A price cannot be below zero.", "price")
    row = learn_price(pack=pack, supplier=supplier, price=price, on=shop.day_of(now), number=number.strip())
    audit.record("asks", pack.item, actor=actor, now=now, supplier=str(supplier), pack=str(pack), price=str(price))
    return row


@writing()
def save_markup(*, bands: Sequence[Band], actor: User | None, clock: Clock) -> MarkupBand:
    """Replace the markup table; returns its open band. Raises Refused with what is wrong with the table."""
    now = clock()
    try:
        selling_price(Decimal(1), bands)
    except ValueError as error:
        raise Refused(str(error)) from error
    MarkupBand.objects.all().delete()
    rows = [MarkupBand.objects.create(up_to=band.up_to, markup=band.markup) for band in bands]
    audit.record("set the markup", rows[-1], actor=actor, now=now, bands=[[str(b.up_to), str(b.markup)] for b in bands])
    return rows[-1]
