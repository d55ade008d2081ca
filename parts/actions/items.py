"""Writing down what stands on the shelf: items with their numbers and packs, and what replaces what."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any, NamedTuple

from garage import audit, search, shop
from garage.changes import assign, expect
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.fields import ScaledField
from garage.ledger import plain
from garage.models import SearchEntry, User
from garage.texts import fitting
from garage.writing import writing
from parts import queries
from parts.models import Item, ItemNumber, ItemSpecification, Kind, Pack, Supersession

ITEM_FIELDS = [
    *("kind", "name", "brand", "base_unit", "location", "tax_class", "minimum", "wanted", "price"),
    *("core_deposit", "hazard", "open_days", "notes", "active"),
]
NumberKind = ItemNumber.Kind


class PackRow(NamedTuple):
    """A pack as the verb takes it; without `pk` it is known by its label."""

    label: str
    size: Decimal
    typed: str = ""
    barcode: str = ""
    pk: int | None = None


@writing()
def save_item(
    *,
    actor: User | None,
    clock: Clock,
    item: Item | None = None,
    fields: Mapping[str, Any],
    numbers: Iterable[tuple[str, str]] = (),
    specifications: Iterable[str] = (),
    packs: Sequence[tuple[Any, ...]] = (),
    version: int | None = None,
    replaces: Item | None = None,
) -> Item:
    """Write an item down, or change it; numbers, specifications and packs become exactly those given.

    A name that changes stays as an old name, so that what was read off an old bottle still leads here. A pack that
    is no longer given is removed, or retired when containers of it exist. `replaces` is an item that this one is the
    successor of from today on. Raises Refused for a repeated label or barcode, for a unit that may no longer change,
    and as `supersede` does; Stale when `version` is not the one on file.
    """
    now = clock()
    row = Item() if item is None else Item.objects.get(pk=item.pk)
    expect(row, version if item else None)
    old_name, old_unit = str(row), row.base_unit
    changed = assign(row, fields, among=ITEM_FIELDS)
    _check_item(row, old_unit)
    row.version += 0 if item is None else 1
    row.save()
    former = [(NumberKind.OLD_NAME, old_name)] if item is not None and old_name != str(row) else []
    _set_numbers(row, [*numbers, *former])
    _set_specifications(row, specifications)
    _set_packs(row, [PackRow(*pack) for pack in packs])
    index(row)
    audit.record("added to the shelf" if item is None else "changed", row, actor=actor, now=now, **changed)
    if replaces is not None:
        supersede(old=replaces, new=row, on=shop.day_of(now), actor=actor, clock=fixed(now))
    return row


def _check_item(row: Item, base_unit_before: str) -> None:
    row.name, row.brand = row.name.strip(), row.brand.strip()
    for name in ("minimum", "wanted"):
        if not row.measured and getattr(row, name) % 1:
            raise Refused("Pieces are counted whole.", name)
    if not row.name:
        raise Refused("Give it a name.", "name")
    if row.kind == Kind.FLUID and row.base_unit != Item.BaseUnit.LITER:
        raise Refused("A fluid is counted in liters.", "base_unit")
    if row.pk and row.base_unit != base_unit_before and queries.ever_moved(row):
        raise Refused("What it is counted in cannot change any more: its movements are in that unit.", "base_unit")
    if row.wanted and row.wanted < row.minimum:
        raise Refused("“Fill up to” must not be under the minimum.", "wanted")


def _set_numbers(item: Item, numbers: Iterable[tuple[str, str]]) -> None:
    wanted: dict[tuple[str, str], str] = {}
    for kind, number in numbers:
        key = fitting(search.key(number), 80, "numbers")
        if not key:
            raise Refused(f"“{number}” holds no letter and no digit to be found by.", "numbers")
        wanted.setdefault((NumberKind(kind).value, key), fitting(number, 80, "numbers"))
    for row in item.numbers.all():
        if (row.kind, row.key) not in wanted:
            row.delete()
    for (kind, key), number in wanted.items():
        ItemNumber.objects.update_or_create(item=item, kind=kind, key=key, defaults={"number": number})


def _set_specifications(item: Item, specifications: Iterable[str]) -> None:
    wanted = dict.fromkeys(fitting(text, 120, "specifications") for text in specifications if text.strip())
    item.specifications.exclude(text__in=wanted).delete()
    known = set(item.specifications.values_list("text", flat=True))
    for text in wanted:
        if text not in known:
            ItemSpecification.objects.create(item=item, text=text)


def _set_packs(item: Item, packs: Sequence[PackRow]) -> None:
    """Bring the packs to what was typed: names may be exchanged, and go to another pack, all in one act."""
    _check_packs(item, packs)
    before = {row.pk: row for row in item.packs.all()}
    chosen = {pack.pk for pack in packs}
    by_label = {row.label: row for row in before.values() if row.pk not in chosen}
    rows = [(before.get(pack.pk or 0) or by_label.get(pack.label) or Pack(item=item), pack) for pack in packs]
    _take_off(item, [row for row in before.values() if row.pk not in {kept.pk for kept, _pack in rows}])
    for row, pack in rows:
        if row.pk and row.label != pack.label:  # aside, while names are exchanged
            Pack.objects.filter(pk=row.pk).update(label=f"\n{row.pk}")
    for row, pack in rows:
        row.label, row.size, row.typed, row.barcode, row.active = *pack[:4], True
        former = item.packs.filter(label=row.label).exclude(pk=row.pk).first()
        if former is not None:
            raise Refused(
                f"“{former}” was a pack of this item before, and is in its history: "
                "add it as a row of its own to use it again.",
                "packs",
            )
        row.save()


def _take_off(item: Item, packs: Iterable[Pack]) -> None:
    """Take packs off an item; one that was ever bought stays in its history."""
    for row in packs:
        if queries.pack_in_use(row):
            row.active = False
            row.save(update_fields=["active"])
        else:
            row.delete()


def _check_packs(item: Item, packs: Sequence[PackRow]) -> None:
    labels: set[str] = set()
    for pack in packs:
        if not pack.label.strip():
            raise Refused("Every pack needs a name, such as “1 L bottle”.", "packs")
        if pack.label in labels:
            raise Refused(f"The pack “{pack.label}” is there twice.", "packs")
        if not item.measured and pack.size % 1:
            raise Refused(f"The pack “{pack.label}” holds whole pieces.", "packs")
        if pack.size <= 0:
            raise Refused(f"The pack “{pack.label}” needs a size above zero.", "packs")
        labels.add(pack.label)
        other = Pack.objects.filter(barcode=pack.barcode).exclude(item=item).first() if pack.barcode else None
        if other:
            raise Refused(f"The barcode {pack.barcode} is already that of {other.item}, {other.label}.", "packs")


def index(item: Item) -> None:
    """Bring the search entry of an item's family up to date: all its names and numbers lead to today's item."""
    members = list(queries.family(item).prefetch_related("numbers", "specifications", "packs"))
    today = next(member for member in members if member.current_id is None)
    words = [word for member in members for word in _words(member)]
    former = [member.name for member in members if member is not today]
    subtitle = " · ".join([*(f"formerly {name}" for name in former), today.get_kind_display(), today.location])
    search.put("item", today, title=str(today), subtitle=subtitle.strip(" ·"), words=words)
    SearchEntry.objects.filter(kind="item", object_id__in=[m.pk for m in members if m is not today]).delete()


def _words(item: Item) -> list[str]:
    """All an item is found by.

    Names also word by word, so that TF-30 in one is found as tf30; numbers also from every place in them on, so that
    any piece finds them.
    """
    names = [str(item), *(specification.text for specification in item.specifications.all())]
    numbers = [pack.barcode for pack in item.packs.all() if pack.barcode]
    for row in item.numbers.all():
        (names if row.kind == NumberKind.OLD_NAME else numbers).append(row.number)
    words = [word for name in names for word in (name, *name.split())]
    for number in numbers:
        key = search.key(number)
        words += [number, *(key[start:] for start in range(1, len(key) - 1))]
    return words


@writing()
def supersede(*, old: Item, new: Item, on: dt.date, note: str = "", actor: User | None, clock: Clock) -> Supersession:
    """Write down that `new` replaces `old`: their stock counts as one, the old is used up first.

    The new item takes over minimum, wanted stock and last cost where it has none. Raises Refused for a loop, for an
    item that is replaced already, and for two that are not counted in the same unit.
    """
    now = clock()
    old, new = (Item.objects.select_related("current").get(pk=item.pk) for item in (old, new))
    today = queries.current_item(new)
    if old.current_id:
        raise Refused(f"{old} is replaced already, by {old.current}.", "new")
    if today == old:
        raise Refused(f"{new} is itself an older name of {old}: that would go round in a circle.", "new")
    if old.base_unit != new.base_unit:
        raise Refused(f"{old} is counted in {old.base_unit}, {new} in {new.base_unit}.", "new")
    Item.objects.filter(pk__in=queries.family(old).values("pk")).update(current=today)
    took_over = _take_over(old, today)
    row = Supersession.objects.create(old=old, new=new, since=on, note=note.strip(), took_over=took_over)
    index(today)
    audit.record("replaced", old, actor=actor, now=now, by=str(new), item=new.pk, since=on.isoformat(), note=note)
    return row


def _take_over(old: Item, today: Item) -> dict[str, list[Any]]:
    """Give today's item what it lacks; what changed, so that it can be given back."""
    values: dict[str, Any] = {}
    if not today.minimum:
        values = {"minimum": old.minimum, "wanted": max(today.wanted, old.wanted)}
    if today.last_cost is None:
        values["last_cost"] = old.last_cost
    changed = assign(today, values, among=("minimum", "wanted", "last_cost"))
    today.save(update_fields=["minimum", "wanted", "last_cost"])
    return changed


def _give_back(supersession: Supersession) -> None:
    """Take from today's item what it got from the old one, unless it was changed since."""
    item = queries.current_item(Item.objects.select_related("current").get(pk=supersession.new_id))
    for name, (before, after) in supersession.took_over.items():
        field = Item._meta.get_field(name)
        assert isinstance(field, ScaledField)
        if plain(field, getattr(item, name)) == after:
            setattr(item, name, field.from_db_value(before, None, None))
    item.save(update_fields=["minimum", "wanted", "last_cost"])


@writing()
def take_back_supersession(*, supersession: Supersession, actor: User | None, clock: Clock) -> Item:
    """Undo a supersession written down by mistake; the old item, with what it replaced, is separate again."""
    now = clock()
    old, new = supersession.old, supersession.new
    _give_back(supersession)
    supersession.until = shop.day_of(now)
    supersession.save(update_fields=["until"])
    members, step = [old.pk], [old.pk]
    while step:
        step = list(Supersession.objects.filter(new__in=step, until=None).values_list("old", flat=True))
        members += step
    Item.objects.filter(pk__in=members).exclude(pk=old.pk).update(current=old)
    Item.objects.filter(pk=old.pk).update(current=None)
    old, new = (Item.objects.get(pk=pk) for pk in (old.pk, new.pk))
    index(old)
    index(new)
    audit.record("undid a replacement", old, actor=actor, now=now, by=str(new), item=new.pk)
    return old
