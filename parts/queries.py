"""Reads of the shelf that are used twice or need a join."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, TypedDict

from django.db.models import (
    Case,
    Exists,
    ExpressionWrapper,
    F,
    IntegerField,
    Max,
    Min,
    OuterRef,
    Prefetch,
    Q,
    QuerySet,
    Subquery,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Coalesce

from garage import search, units
from garage.fields import QuantityField
from garage.groups import joined
from garage.money import round_money
from garage.numbers import round_half_up
from parts.buying import Suggestion, amount, suggest
from parts.models import Container, Item, MarkupBand, Movement, Pack, Receipt, ReceiptLine, Supersession, Supplier
from parts.packs import PackOffer
from parts.pricing import Band, selling_price

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

    class _There(TypedDict):
        there: Decimal

    class _KnownPrice(TypedDict):
        known_price: Decimal | None

    class _Last(TypedDict):
        last: datetime | None

    SupplierWithLast = WithAnnotations[Supplier, _Last]
    ItemToday = WithAnnotations[Item, _There]
    PricedPack = WithAnnotations[Pack, _KnownPrice]

ZERO = Decimal(0)
CAME = (Movement.Kind.RECEIPT, Movement.Kind.OPENING)


def current_item(item: Item) -> Item:
    """What is bought today in place of this item: the end of its supersession chain, or the item itself."""
    return item.current or item


def family(item: Item) -> QuerySet[Item]:
    """The item of today and all that it replaced: one thing under several names. Asks the book, not `item`."""
    today = Subquery(Item.objects.filter(pk=item.pk).values(today=Coalesce("current", "pk")))
    return Item.objects.filter(Q(pk=today) | Q(current=today))


def ever_one() -> dict[int, int]:
    """For each item that was ever replaced or a successor, one that stands for all it was ever one with.

    Replacements taken back are included: what was drawn and billed under one was drawn and billed rightly.
    """
    return joined(Supersession.objects.values_list("old", "new"))


def came_after(items: Iterable[int]) -> dict[int, set[int]]:
    """For each of these items all that ever replaced it, directly or by others."""
    later: dict[int, set[int]] = defaultdict(set)
    for old, new in Supersession.objects.values_list("old", "new"):
        later[old].add(new)
    found = {}
    for item in items:
        reached: set[int] = set()
        waiting = [item]
        while waiting:
            fresh = later.get(waiting.pop(), set()) - reached
            reached |= fresh
            waiting += fresh
        found[item] = reached
    return found


def in_the_book(containers: QuerySet[Container]) -> QuerySet[Container]:
    """Those whose coming was not undone: nothing more is put into the others."""
    undone = Movement.objects.filter(container=OuterRef("pk"), kind__in=CAME, reversed_by__isnull=False)
    return containers.filter(~Exists(undone))


def on_hand(item: Item) -> Decimal:
    """What is on the shelf under this very number, in the base unit, read afresh."""
    return Item.objects.values_list("on_hand", flat=True).get(pk=item.pk)


def chain_on_hand(item: Item) -> Decimal:
    """What is on the shelf under this number, its older and its newer ones, which count as the same thing."""
    return family(item).aggregate(all=Sum("on_hand"))["all"] or ZERO


def to_draw(item: Item) -> QuerySet[Container]:
    """Containers with something in them, in the order they are drawn from.

    The open one first (the one open longest), then sealed ones of older numbers, then the oldest.
    """
    older_first = Case(When(item__current=None, then=1), default=0, output_field=IntegerField())
    return (
        Container.objects.filter(item__in=family(item), content__gt=0)
        .select_related("item", "pack")
        .order_by(F("opened_at").asc(nulls_last=True), older_first, "received_at", "pk")
    )


def to_draw_fresh(item: Item, at: datetime) -> list[Container]:
    """The same without those that stand open for longer than they keep."""
    return [container for container in to_draw(item) if not container.too_old(at)]


def too_old_among(item: Item, quantity: Decimal, at: datetime) -> list[Container]:
    """The containers a draw of so much would take from that stand open for longer than they keep."""
    found, left = [], quantity
    for container in to_draw(item):
        if left <= 0:
            break
        left -= container.content
        if container.too_old(at):
            found.append(container)
    return found


def containers_of(item: Item) -> QuerySet[Container]:
    """Every container the item and its older numbers ever had."""
    return Container.objects.filter(item__in=family(item)).select_related("item", "pack")


def movements(item: Item | None = None) -> QuerySet[Movement]:
    """Movements with what a list of them shows; of one item, those of its older numbers too."""
    rows = Movement.objects.select_related("item", "container__pack", "by", "reversed_by", "side")
    return rows if item is None else rows.filter(item__in=family(item))


def items_today() -> "QuerySet[ItemToday]":
    """The items in use, each with `there`: what is on hand, its older numbers' stock counted in."""
    older = Item.objects.filter(current=OuterRef("pk")).order_by().values("current").annotate(sum=Sum("on_hand"))
    of_older = Subquery(older.values("sum"), output_field=QuantityField())
    nothing = Value(ZERO, output_field=QuantityField())
    # Wrapped: Django takes a sum of two of our integer-backed fields for a plain integer.
    there = ExpressionWrapper(F("on_hand") + Coalesce(of_older, nothing), output_field=QuantityField())
    return Item.objects.filter(active=True, current=None).annotate(there=there)


def items_low() -> "QuerySet[ItemToday]":
    """The items at or under their minimum; one without a minimum is never low."""
    return items_today().filter(minimum__gt=0, there__lte=F("minimum"))


def find_items(text: str) -> "QuerySet[ItemToday]":
    """The items of today that anything typed leads to: names, brands, any number, old ones, specifications."""
    if not text.strip():
        return items_today()
    return items_today().filter(pk__in=search.keys_of("item", text))


def with_former_names(items: "QuerySet[ItemToday]") -> "QuerySet[ItemToday]":
    """Add what each item was called before, for the lists."""
    return items.prefetch_related(Prefetch("older", Item.objects.order_by("-pk")))


def open_in(items: Iterable[Item]) -> Decimal:
    """What stands open of some items together."""
    rows = Container.objects.filter(item__in=list(items), content__gt=0, opened_at__isnull=False)
    return rows.aggregate(sum=Sum("content"))["sum"] or ZERO


def open_contents(items: Iterable[Item]) -> dict[int, Decimal]:
    """What stands open of each item (as `with_former_names` gives them), its older numbers counted in."""
    today = {member.pk: item.pk for item in items for member in (item, *item.older.all())}
    rows = (
        Container.objects.filter(item__in=today, content__gt=0, opened_at__isnull=False)
        .order_by()
        .values_list("item")
        .annotate(sum=Sum("content"))
    )
    found: dict[int, Decimal] = defaultdict(Decimal)
    for item, content in rows:
        found[today[item]] += content
    return dict(found)


def priced_packs(items: Iterable[Item]) -> "dict[int, list[PricedPack]]":
    """The packs still bought of each item, by its key, each with `known_price`.

    That is the lowest price a supplier asks today; failing that, what the pack cost when it last came; or None.
    """
    came = Movement.objects.filter(container__receipt_line=OuterRef("pk"), kind=Movement.Kind.RECEIPT, reversed_by=None)
    last = ReceiptLine.objects.filter(Exists(came), pack=OuterRef("pk")).order_by("-pk").values("pack_price")[:1]
    packs = (
        Pack.objects.filter(item__in=list(items), active=True)
        .annotate(known_price=Coalesce(Min("prices__price", filter=Q(prices__current=True)), Subquery(last)))
        .order_by("size", "pk")
    )
    found: dict[int, list[PricedPack]] = defaultdict(list)
    for pack in packs:
        found[pack.item_id].append(pack)
    return found


@dataclass(frozen=True)
class ToBuy:
    """What to buy of an item that runs low; `codes` name the packs for the sheet a delivery is taken in on."""

    item: "ItemToday"
    suggestion: Suggestion
    codes: list[str]


def to_buy(items: "Iterable[ItemToday]") -> list[ToBuy]:
    """What to buy of each item (as `items_low` gives them), and why."""
    listed = list(items)
    packs = priced_packs(listed)
    rows = []
    for item in listed:
        known = {pack.label: pack for pack in packs.get(item.pk, []) if pack.known_price}
        offers = [PackOffer(label, pack.size, pack.known_price or ZERO) for label, pack in known.items()]
        suggestion = suggest(item.there, item.minimum, item.wanted, item.base_unit, offers)
        codes = [f"{item.pk}-{known[label].pk}-{count}" for label, count in suggestion.counts.items()]
        rows.append(ToBuy(item, suggestion, codes))
    return rows


def markup_bands() -> list[Band]:
    """The markup table as the pricing arithmetic takes it; empty when none is set up."""
    return [Band(band.up_to, band.markup) for band in MarkupBand.objects.all()]


def price_of(item: Item) -> Decimal | None:
    """The selling price of one base unit: the item's own, else its last cost with the markup of its band.

    A price from the bands is rounded half-up to cents, below 1.00 to hundredths of a cent. None when the item has
    neither a price nor a cost with bands.
    """
    if item.price is not None:
        return item.price
    bands = markup_bands() if item.last_cost is not None else []
    if item.last_cost is None or not bands:
        return None
    price = selling_price(item.last_cost, bands)
    return round_money(price) if price >= 1 else round_half_up(price, 4)


def holds(container: Container) -> str:
    """What is in a container, in both units where there are two."""
    unit = container.item.base_unit
    return units.both(container.content, unit) if units.other_unit(unit) else amount(container.content, unit)


def drawn_net(movement: Movement) -> tuple[Decimal, Decimal]:
    """Quantity and value of a draw that have not come back to the shelf, both as positive figures."""
    back = movement.returned_by.filter(reversed_by=None).aggregate(quantity=Sum("quantity"), value=Sum("value"))
    return -movement.quantity - (back["quantity"] or ZERO), -movement.value - (back["value"] or ZERO)


def last_cost_of(item: Item) -> Decimal | None:
    """What a base unit cost when the item last came, leaving out what was undone."""
    came = Movement.objects.filter(item=item, kind__in=CAME, reversed_by=None).order_by("-pk")
    return came.values_list("container__unit_cost", flat=True).first()


def ever_moved(item: Item) -> bool:
    """Whether the item has containers: then its unit is settled."""
    return Container.objects.filter(item=item).exists()


def pack_in_use(pack: Pack) -> bool:
    """Whether a container or a delivery was of this pack: then it can be retired, not removed."""
    return Container.objects.filter(pack=pack).exists() or ReceiptLine.objects.filter(pack=pack).exists()


def with_older(items: "QuerySet[ItemToday]") -> QuerySet[Item]:
    """The items and all that they replaced."""
    keys = items.order_by().values("pk")
    return Item.objects.filter(Q(pk__in=keys) | Q(current__in=keys))


def deliveries() -> QuerySet[Receipt]:
    """Deliveries with what a list of them shows."""
    return Receipt.objects.select_related("supplier", "by").prefetch_related(
        Prefetch("lines", ReceiptLine.objects.select_related("item", "pack").order_by("pk"))
    )


def lines_of(receipt: Receipt) -> list[ReceiptLine]:
    """The lines of a delivery, in the order they were written."""
    return list(receipt.lines.select_related("item", "pack").order_by("pk"))


def is_undone(receipt: Receipt) -> bool:
    """Whether a delivery was taken back out of the book."""
    came = Movement.objects.filter(container__receipt_line__receipt=receipt, kind=Movement.Kind.RECEIPT)
    return not came.filter(reversed_by=None).exists()


def suppliers() -> "QuerySet[SupplierWithLast]":
    """Everybody we buy from, each with `last`, when their last delivery came."""
    return Supplier.objects.annotate(last=Max("receipts__at")).order_by("name")
