"""What the page of an item shows, read in a fixed number of queries."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from garage import units
from garage.cuts import Cut, first_of
from garage.numbers import round_half_up
from parts import queries
from parts.buying import is_low
from parts.models import Container, Item, Pack, Supersession, SupplierPrice

CONTAINERS_READ = 300
CONTAINER_ROWS = 12


@dataclass(frozen=True)
class Standing:
    """Containers that differ in nothing, such as a case of sealed bottles: the first of them, how many, what is in."""

    first: Container
    number: int
    content: Decimal


@dataclass(frozen=True)
class AskedPrice:
    """What a pack costs from one supplier; without a supplier's name it is what the last delivery cost."""

    pack: Pack
    unit: str
    price: Decimal
    supplier: str = ""
    number: str = ""

    @property
    def per_unit(self) -> Decimal:
        """The price of one base unit: 34.07 for a quart is 36.00 a liter."""
        return self.price / self.pack.size

    @property
    def per_other(self) -> Decimal:
        """The price of one quart."""
        return units.price_per(self.per_unit, self.unit, "qt")


@dataclass(frozen=True)
class PackPrices:
    """A pack and what it costs where."""

    pack: Pack
    prices: list[AskedPrice]


def facts(item: Item, *, prices: bool) -> dict[str, Any]:
    """All of an item but its movements; nothing about cost and price unless `prices`."""
    members = list(queries.family(item).prefetch_related("numbers", "specifications"))
    by_key = {member.pk: member for member in members}
    row = by_key[item.pk]
    there = sum((member.on_hand for member in members), Decimal(0))
    containers = first_of(queries.to_draw(item), CONTAINERS_READ, counted=False)
    standing = _standing(containers)
    today = by_key[item.current_id or item.pk]
    return {
        "item": row,
        "today": today,
        "there": there,
        "open": _open(members, containers),
        "low": today is row and is_low(there, row.minimum),
        "buy": queries.to_buy(queries.items_low().filter(pk=row.pk)) if today is row else [],
        "standing": _cut(standing, containers),
        "older": _older(members, row),
        "replaced_by": _replaced_by(row, by_key),
        **(_money(row, members, there) if prices else {}),
        "packs": _packs(row, prices=prices),
    }


def _open(members: list[Item], read: Cut[Container]) -> Decimal:
    """What stands open; asked for where not all containers were read."""
    if read.more:
        return queries.open_in(members)
    return sum((container.content for container in read if container.opened_at), Decimal(0))


def _cut(standing: list[Standing], read: Cut[Container]) -> Cut[Standing]:
    """The rows that are shown; how many there are is not known where not all containers were read."""
    shown = Cut.of(standing, CONTAINER_ROWS)
    return Cut(shown, more=True) if read.more else shown


def _standing(containers: list[Container]) -> list[Standing]:
    """Sealed containers of one pack that came together for the same price make one row; each open one its own."""

    def alike(container: Container) -> tuple[Any, ...]:
        of = (container.item_id, container.pack_id, container.received_at, container.unit_cost, container.content)
        return (*of, container.pk if container.opened_at or not container.item.measured else None)

    groups: dict[tuple[Any, ...], list[Container]] = {}
    for container in containers:
        groups.setdefault(alike(container), []).append(container)
    return [Standing(rows[0], len(rows), sum((row.content for row in rows), Decimal(0))) for rows in groups.values()]


def _older(members: list[Item], row: Item) -> list[Item]:
    """The items this one replaced, directly or through others, newest first."""
    following = dict(Supersession.objects.filter(old__in=[m.pk for m in members], until=None).values_list("old", "new"))
    found = []
    for member in members:
        at: int | None = member.pk
        while at is not None and at != row.pk:
            at = following.get(at)
        if at == row.pk and member is not row:
            found.append(member)
    return sorted(found, key=lambda member: member.pk, reverse=True)


def _replaced_by(row: Item, by_key: dict[int, Item]) -> Supersession | None:
    if row.current_id is None:
        return None
    return Supersession.objects.select_related("new").filter(old=row, until=None).first()


def _money(row: Item, members: list[Item], there: Decimal) -> dict[str, Any]:
    """Cost and price of one base unit; the average is what all of it cost over how much there is."""
    value = sum((member.stock_value for member in members), Decimal(0))
    return {
        "prices": True,
        "value": value,
        "average": round_half_up(value / there, 6) if there else None,
        "price": queries.price_of(row),
        "price_own": row.price is not None,
    }


def _packs(item: Item, *, prices: bool) -> list[PackPrices]:
    if not prices:
        return [PackPrices(pack, []) for pack in item.packs.filter(active=True)]
    packs = queries.priced_packs([item]).get(item.pk, [])
    asked: dict[int, list[SupplierPrice]] = {pack.pk: [] for pack in packs}
    for row in (
        SupplierPrice.objects.filter(pack__in=asked, current=True).select_related("supplier").order_by("price", "pk")
    ):
        asked[row.pack_id].append(row)
    return [PackPrices(pack, _asked(pack, item.base_unit, pack.known_price, asked[pack.pk])) for pack in packs]


def _asked(pack: Pack, unit: str, last: Decimal | None, rows: list[SupplierPrice]) -> list[AskedPrice]:
    if not rows and last is not None:
        return [AskedPrice(pack, unit, last)]
    return [AskedPrice(pack, unit, row.price, row.supplier.name, row.number) for row in rows]
