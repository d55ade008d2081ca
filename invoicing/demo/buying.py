"""Keeping the demo's shelf full: what stood there at first, the rounds of the suppliers, and what a job lacks."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from decimal import Decimal

from garage.clock import fixed
from garage.numbers import round_half_up
from invoicing.demo.garage import Garage, Script
from invoicing.demo.shelf import BANDS, GOODS, NEW_TRANSFER_FLUID, OLD_TRANSFER_FLUID, SUPPLIERS, Box, Goods
from jobs.consents import authorized
from jobs.models import Job, Line
from parts import queries
from parts.actions import items, prices, receiving, stock, suppliers
from parts.actions.receiving import Delivered
from parts.models import Item, Pack
from parts.pricing import Band

D = Decimal
DEARER_A_YEAR = D("0.035")
ROUND_EVERY = dt.timedelta(days=14)
ALL_GOODS = {goods.number: goods for goods in (*GOODS, NEW_TRANSFER_FLUID)}


def price_at(garage: Garage, box: Box, moment: dt.datetime) -> Decimal:
    """What a pack costs at a moment: a little more each year, to five cents."""
    years = D((moment - garage.opening).days) / 365
    return round_half_up(box.price * (1 + DEARER_A_YEAR * years) * 20, 0) / 20


def fill_the_shelf(garage: Garage, now: dt.datetime) -> None:
    """Write down suppliers, markup and goods, and what of them stood there when the book began."""
    for fields in SUPPLIERS:
        garage.suppliers[fields["name"]] = suppliers.save_supplier(
            actor=garage.counter, clock=fixed(now), fields=fields
        )
    bands = [Band(up_to, markup) for up_to, markup in BANDS]
    prices.save_markup(bands=bands, actor=garage.people["owner"], clock=fixed(now))
    for goods in GOODS:
        add_goods(garage, goods, now)


def add_goods(garage: Garage, goods: Goods, now: dt.datetime) -> Item:
    """Put an item on the shelf, with what its supplier asks for each pack."""
    numbers = [("own", goods.number), *([("maker", goods.maker_number)] if goods.maker_number else [])]
    packs = [(box.label, box.size, box.typed, "") for box in goods.boxes]
    item = items.save_item(
        actor=garage.counter,
        clock=fixed(now),
        fields=goods.fields,
        numbers=numbers,
        specifications=goods.meets,
        packs=packs,
    )
    garage.items[goods.number] = item
    supplier = garage.suppliers[goods.supplier]
    for box, pack in _packs(goods, item):
        asked = price_at(garage, box, now)
        prices.set_pack_price(pack=pack, supplier=supplier, price=asked, actor=garage.counter, clock=fixed(now))
        if box.stood:
            receiving.opening_stock(
                key=garage.key(),
                item=item,
                pack=pack,
                packs=box.stood,
                unit_cost=round_half_up(asked / box.size, 6),
                actor=garage.people["owner"],
                clock=fixed(now),
            )
    return item


def _packs(goods: Goods, item: Item) -> list[tuple[Box, Pack]]:
    by_label = {pack.label: pack for pack in item.packs.all()}
    return [(box, by_label[box.label]) for box in goods.boxes]


def rounds(garage: Garage) -> Script:
    """Every other week somebody brings what has run low, and one of the goods is counted: no month is silent."""
    moment = garage.opening + dt.timedelta(days=10, hours=3)
    while True:
        yield moment
        restock(garage, queries.items_low(), moment)
        _count_one(garage, moment)
        moment += ROUND_EVERY


def _count_one(garage: Garage, now: dt.datetime) -> None:
    """Count what is counted by the piece, one of the goods after the other, and find what the book says."""
    counted = [item for item in garage.items.values() if not item.measured]
    item = counted[(now - garage.opening) // ROUND_EVERY % len(counted)]
    stock.count_item(
        key=garage.key(), item=item, quantity=queries.on_hand(item), actor=garage.counter, clock=fixed(now)
    )


def restock(garage: Garage, wanted: "Iterable[queries.ItemToday]", now: dt.datetime) -> None:
    """Take in what fills each item up again, in the packs that cost least, a delivery from each supplier."""
    by_supplier: dict[str, list[Delivered]] = defaultdict(list)
    for row in queries.to_buy(wanted):
        goods = _goods_of(garage, row.item)
        packs = {box.label: (box, pack) for box, pack in _packs(goods, row.item)}
        for label, count in row.suggestion.counts.items():
            box, pack = packs[label]
            by_supplier[goods.supplier].append(Delivered(pack, row.item, count, price_at(garage, box, now)))
    for name, lines in by_supplier.items():
        receiving.receive(
            key=garage.key(),
            supplier=garage.suppliers[name],
            reference=f"DN {now:%y%j}-{len(lines)}",
            lines=lines,
            actor=garage.counter,
            clock=fixed(now),
        )


def _goods_of(garage: Garage, item: Item) -> Goods:
    return next(ALL_GOODS[number] for number, known in garage.items.items() if known.pk == item.pk)


def fetch_missing(garage: Garage, job: Job, now: dt.datetime) -> None:
    """Have brought today what a job's authorized work needs and the shelf does not hold."""
    needed: dict[int, Decimal] = defaultdict(Decimal)
    known: dict[int, Item] = {}
    decided = Line.objects.filter(operation__in=authorized(job))
    for line in decided.filter(item__isnull=False).select_related("item__current"):
        assert line.item is not None
        item = queries.current_item(line.item)
        needed[item.pk] += line.base_quantity
        known[item.pk] = item
    lacking = [pk for pk, quantity in needed.items() if queries.chain_on_hand(known[pk]) < quantity]
    if lacking:
        restock(garage, queries.items_today().filter(pk__in=lacking), now)


def renaming(garage: Garage, moment: dt.datetime) -> Script:
    """The transfer fluid gets a new name and number; the old bottles are used up first."""
    yield moment
    new = add_goods(garage, NEW_TRANSFER_FLUID, moment)
    old = garage.items[OLD_TRANSFER_FLUID.number]
    note = "Same fluid, new name, says the supplier."
    items.supersede(old=old, new=new, on=moment.date(), note=note, actor=garage.counter, clock=fixed(moment))
