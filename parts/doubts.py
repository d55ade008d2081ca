"""What is unusual about a figure at the shelf and may still be right: asked about before it is saved (`AskingForm`).

The tenth and the tenfold are where a slip of the decimal point lands (common practice, no source).
"""

from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal

from garage import dates, shop, units
from garage.forms_fields import plain_text
from garage.money import spoken
from parts import queries, worth
from parts.actions.receiving import Delivered
from parts.buying import amount
from parts.models import Item, Receipt, ReceiptLine, Supplier

TIMES = 10


def slipped(figure: Decimal, before: Decimal) -> bool:
    """Whether a figure is ten times the one before it or more, or a tenth of it or less; never beside nothing."""
    return before > 0 and (figure >= before * TIMES or figure * TIMES <= before)


def about_delivery(supplier: Supplier | None, reference: str, lines: Sequence[Delivered]) -> Iterator[str]:
    """A number taken in before, prices a decimal point away from the last, and selling prices that would move."""
    yield from _known_number(supplier, reference)
    for line in lines:
        last = _last_price(line)
        if last is not None and slipped(line.pack_price, last):
            pack = f" a {line.pack}" if line.pack else ""
            yield f"{line.item}: {_money(last)}{pack} last time, {_money(line.pack_price)} now."
    last_lines = {line.item.pk: line for line in lines}
    for line in last_lines.values():
        yield from about_price(line.item, worth.unit_cost(line.pack_price, line.size))


def _known_number(supplier: Supplier | None, reference: str) -> Iterator[str]:
    if supplier is None or not reference.strip():
        return
    rows = Receipt.objects.filter(supplier=supplier, reference__iexact=reference.strip()).order_by("-pk")
    for receipt in rows.iterator():
        if not queries.is_undone(receipt):
            day = dates.day(shop.day_of(receipt.at))
            yield f"{reference.strip()} of {supplier} was received on {day} already: is this another delivery?"
            return


def _last_price(line: Delivered) -> Decimal | None:
    """What such a pack cost when it last came; failing that, what its content cost."""
    rows = ReceiptLine.objects.filter(item=line.item, pack=line.pack).select_related("receipt").order_by("-pk")
    for row in rows.iterator():
        if queries.in_the_book(row.containers.all()).exists():
            return row.pack_price
    return None if line.item.last_cost is None else line.item.last_cost * line.size


def about_price(item: Item, cost: Decimal) -> Iterator[str]:
    """The selling price follows the last cost: said before it moves for what stands on the shelf already."""
    there = queries.chain_on_hand(item)
    before = queries.price_of(item)
    after = queries.price_of(Item(pk=item.pk, price=item.price, last_cost=cost, base_unit=item.base_unit))
    if there and before is not None and after is not None and before != after:
        yield (
            f"{item}: the selling price follows the last cost and goes from {_price(before, item)} to "
            f"{_price(after, item)}, also for the {amount(there, item.base_unit)} on the shelf. To keep it, give the "
            "item a selling price of its own."
        )


def about_selling(item: Item, price: Decimal, unit: str) -> Iterator[str]:
    """A price on a line, in its `unit`, a decimal point away from what the shelf asks; nothing where it asks none."""
    asks = queries.price_of(item)
    if asks is None:
        return
    asks = units.price_per(asks, item.base_unit, unit)
    if slipped(price, asks):
        per = "each" if unit == "each" else f"per {units.label(unit)}"
        yield f"{item}: the shelf’s price is {_money(asks)} {per}, this line says {_money(price)}."


def about_count(there: Decimal, counted: Decimal, unit: str) -> Iterable[str]:
    """A count a decimal point away from what the book says; nothing left is a count like any other."""
    if counted and slipped(counted, there):
        yield f"The book says {amount(there, unit)}, {amount(counted, unit)} was counted."


def _price(price: Decimal, item: Item) -> str:
    """A price per base unit, per L and per qt where it is poured."""
    unit = item.base_unit
    other = units.other_unit(unit)
    said = f"{_money(price)} {unit}" if unit == "each" else f"{_money(price)} per {unit}"
    return said if other is None else f"{said} ({_money(units.price_per(price, unit, other))} per {other})"


def _money(price: Decimal) -> str:
    return spoken(price, 2 if price >= 1 else len(plain_text(price, least=2).partition(".")[2]))
