"""What suppliers ask for a pack, and the markup that makes a price of a cost."""

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal

from garage import audit, shop
from garage.clock import Clock
from garage.errors import Refused
from garage.models import User
from garage.writing import writing
from parts.models import MarkupBand, Pack, Supplier, SupplierPrice
from parts.pricing import Band, selling_price


def learn_price(*, pack: Pack, supplier: Supplier, price: Decimal, on: dt.date, number: str = "") -> SupplierPrice:
    """Keep what a supplier asks for a pack from `on`; part of a verb, inside its transaction."""
    values = {"price": price, "since": on} | ({"number": number} if number else {})
    row, _created = SupplierPrice.objects.update_or_create(pack=pack, supplier=supplier, defaults=values)
    return row


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
