"""Taking in: deliveries and opening stock make containers, and a receipt for each into the ledger."""

import datetime as dt
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from garage import audit, shop
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.idempotency import once
from garage.models import User
from garage.texts import fitting
from parts import worth
from parts.actions.moving import post
from parts.actions.prices import learn_price
from parts.actions.stock import reverse
from parts.buying import amount
from parts.models import Container, Item, Movement, Pack, Receipt, ReceiptLine, Supplier

Kind = Movement.Kind
MOST_CONTAINERS = 500


@dataclass(frozen=True)
class Delivered:
    """One line of a delivery: so many packs of an item at a price a pack; without a pack, single base units."""

    pack: Pack | None
    item: Item
    packs: int
    pack_price: Decimal

    @property
    def size(self) -> Decimal:
        """What one pack holds, in the item's base unit."""
        return self.pack.size if self.pack else Decimal(1)

    def check(self) -> None:
        """Raise Refused when the line cannot be taken in."""
        if self.packs < 1:
            raise Refused(f"{self.item}: how many packs came?")
        if self.pack_price < 0:
            raise Refused(f"{self.item}: a price cannot be below zero.")
        if self.pack is not None and self.pack.item_id != self.item.pk:
            raise Refused(f"“{self.pack}” is not a pack of {self.item}.")
        if self.item.measured and self.pack is None:
            raise Refused(f"{self.item} comes in packs: choose which.")
        if self.item.measured and self.packs > MOST_CONTAINERS:
            raise Refused(f"{self.item}: at most {MOST_CONTAINERS} containers on one line.")


@once("receive", Receipt)
def receive(
    *,
    key: uuid.UUID,
    supplier: Supplier | None,
    reference: str,
    lines: Sequence[Delivered],
    actor: User | None,
    clock: Clock,
) -> Receipt:
    """Take a delivery in: one container a pack of fluid, one batch a line of parts, each at what it cost.

    The price of each pack is kept as what the supplier asks from now on. Raises Refused for an empty delivery and
    for a line that cannot be.
    """
    now = clock()
    return _receive(supplier, reference, lines, actor, now)


def _receive(
    supplier: Supplier | None, reference: str, lines: Sequence[Delivered], actor: User | None, now: dt.datetime
) -> Receipt:
    if not lines:
        raise Refused("Nothing is written on the sheet yet: add what arrived.")
    for line in lines:
        line.check()
    receipt = Receipt.objects.create(supplier=supplier, reference=fitting(reference, 60, "reference"), at=now, by=actor)
    for line in lines:
        row = ReceiptLine.objects.create(
            receipt=receipt,
            item=line.item,
            pack=line.pack,
            packs=line.packs,
            quantity=line.size * line.packs,
            pack_price=line.pack_price,
        )
        _fill_containers(line, row, Kind.RECEIPT, reference, actor, now)
        if supplier and line.pack:
            learn_price(pack=line.pack, supplier=supplier, price=line.pack_price, on=shop.day_of(now), receipt_line=row)
    audit.record("received", receipt, actor=actor, now=now, lines=len(lines), supplier=str(supplier or ""))
    return receipt


def _fill_containers(
    line: Delivered,
    row: ReceiptLine | None,
    kind: Movement.Kind,
    reason: str,
    actor: User | None,
    now: dt.datetime,
) -> None:
    """One container a pack where it is poured from, else one for the whole line."""
    times, packs_each = (line.packs, 1) if line.item.measured else (1, line.packs)
    size, price = line.size * packs_each, line.pack_price * packs_each
    cost = worth.unit_cost(line.pack_price, line.size)
    for _ in range(times):
        container = _new_container(line, row, size, cost, now)
        post(container, kind, size, price, actor=actor, now=now, reason=reason)
    Item.objects.filter(pk=line.item.pk).update(last_cost=cost)


def _new_container(
    line: Delivered, row: ReceiptLine | None, size: Decimal, cost: Decimal, now: dt.datetime
) -> Container:
    return Container.objects.create(
        item=line.item,
        pack=line.pack,
        receipt_line=row,
        size=size,
        capacity=size if line.item.measured else None,
        unit_cost=cost,
        received_at=now,
        location=line.item.location,
    )


@once("opening stock", Item)
def opening_stock(
    *,
    key: uuid.UUID,
    item: Item,
    pack: Pack | None,
    packs: int,
    unit_cost: Decimal,
    actor: User | None,
    clock: Clock,
    opened_content: Decimal | None = None,
) -> Item:
    """Write down what stood on the shelf when the book began: full packs, and what is left in an open one.

    `unit_cost` is for one base unit. Raises Refused when nothing is there, or the open one holds more than its pack.
    """
    now = clock()
    full = Delivered(pack, item, packs, worth.added_value(pack.size if pack else Decimal(1), unit_cost))
    if packs:
        full.check()
        _fill_containers(full, None, Kind.OPENING, "", actor, now)
    if opened_content:
        _open_container(full, opened_content, unit_cost, actor, now)
    if not packs and not opened_content:
        raise Refused("Write how many packs there are, or what is left in the open one.", "packs")
    audit.record(
        "opening stock", item, actor=actor, now=now, packs=packs, open=str(opened_content or 0), cost=str(unit_cost)
    )
    return item


def _open_container(full: Delivered, content: Decimal, cost: Decimal, actor: User | None, now: dt.datetime) -> None:
    if not full.item.measured or full.pack is None:
        raise Refused("Only a pack of fluid can be open.", "opened_content")
    if content > full.size:
        raise Refused(f"An open {full.pack} holds at most {amount(full.size, full.item.base_unit)}.", "opened_content")
    container = _new_container(full, None, full.size, cost, now)
    container.opened_at = now
    post(container, Kind.OPENING, content, worth.added_value(content, cost), actor=actor, now=now)
    Item.objects.filter(pk=full.item.pk).update(last_cost=cost)


@once("undo delivery", Receipt)
def undo_receipt(*, key: uuid.UUID, receipt: Receipt, reason: str, actor: User | None, clock: Clock) -> Receipt:
    """Take a whole delivery back out of the book, as long as all that came with it is there.

    One that was drawn from and holds as much again, since it was counted or something came back, can be undone too;
    its draws stay in the book, and what comes back of them later goes into a container of its own. Raises Refused, and
    leaves everything as it was, when a container of it holds less than came.
    """
    now = clock()
    rows = Movement.objects.filter(
        container__receipt_line__receipt=receipt, kind=Kind.RECEIPT, reversed_by=None
    ).select_related("container__item")
    if not rows:
        raise Refused("This delivery is undone already.")
    for row in rows.order_by("-pk"):
        reverse(movement=row, reason=reason, actor=actor, clock=fixed(now))
    audit.record("undid a delivery", receipt, actor=actor, now=now, reason=reason)
    return receipt
