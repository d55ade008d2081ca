"""Taking from the shelf, bringing back, counting and undoing: every verb appends movements, none edits one."""

import datetime as dt
import uuid
from collections.abc import Sequence
from decimal import Decimal

from garage import audit
from garage.clock import Clock
from garage.errors import Refused
from garage.idempotency import once
from garage.models import User
from garage.writing import writing
from parts import queries, worth
from parts.actions.moving import post, take
from parts.actions.prices import forget_prices
from parts.buying import amount
from parts.models import Container, Item, Movement

Kind = Movement.Kind
SETTING = (Kind.COUNT, Kind.ADJUSTMENT, Kind.WASTE)


class Shortage(Refused):
    """More was asked for than the shelf holds; names what is there."""

    def __init__(self, item: Item, wanted: Decimal, there: Decimal) -> None:
        self.item, self.wanted, self.there = item, wanted, there
        unit = item.base_unit
        said, asked = (amount(quantity, unit).removesuffix(" each") for quantity in (there, wanted))
        super().__init__(f"Only {said} of {item} is on the shelf; {asked} is wanted.", "quantity")


@writing()
def draw(
    *,
    item: Item,
    quantity: Decimal,
    reason: str,
    typed: str = "",
    fresh: bool = False,
    actor: User | None,
    clock: Clock,
) -> list[Movement]:
    """Take a quantity (in the base unit) from the shelf, from as many containers as it needs.

    The open container goes first, then the oldest; stock of older numbers of the item counts and is used up
    first; `fresh` leaves alone what stands open for longer than it keeps. It takes no key: the verb that uses the
    fluid has one. Raises Shortage when there is not enough.
    """
    now = clock()
    if quantity <= 0:
        raise Refused("You must take more than zero.", "quantity")
    containers = queries.to_draw_fresh(item, now) if fresh else list(queries.to_draw(item))
    there = sum((container.content for container in containers), Decimal(0))
    if there < quantity:
        raise Shortage(item, quantity, there)
    drawn: list[Movement] = []
    left = quantity
    for container in containers:
        if not left:
            break
        part = min(left, container.content)
        drawn.append(take(container, Kind.DRAW, part, actor=actor, now=now, typed=typed, reason=reason))
        left -= part
    audit.record("drew from the shelf", item, actor=actor, now=now, quantity=str(quantity), reason=reason)
    return drawn


@writing()
def give_back(
    *,
    draws: Sequence[Movement],
    quantity: Decimal,
    reason: str,
    typed: str = "",
    actor: User | None,
    clock: Clock,
) -> list[Movement]:
    """Bring a quantity back to the containers it came from, the last drawn first; what fits no more beside them.

    `draws` are the movements it was drawn with; those undone since are passed over. Raises Refused when more comes
    back than is still out.
    """
    now = clock()
    if quantity <= 0:
        raise Refused("A return must be more than zero.", "quantity")
    returned: list[Movement] = []
    left = quantity
    for draw_row in sorted(_still_out(draws), key=lambda row: row.pk, reverse=True):
        out, value = queries.drawn_net(draw_row)
        part = min(left, out)
        if part <= 0:
            continue
        for container, fits in _places(_fresh(draw_row.container), part, now):
            back = worth.returned_value(fits, out, value)
            returned.append(
                post(
                    container, Kind.RETURN, fits, back, actor=actor, now=now, typed=typed, reason=reason,
                    returns=draw_row,
                )
            )  # fmt: skip
            out, value = out - fits, value - back
        left -= part
    if left or not returned:
        raise Refused("More comes back than was taken.", "quantity")
    audit.record("returned to the shelf", returned[0].item, actor=actor, now=now, quantity=str(quantity), reason=reason)
    return returned


def has_room(container: Container, quantity: Decimal) -> bool:
    """Whether so much more may go in: never into one whose coming was undone, nor more than fits."""
    return _room(container) is None or quantity <= (_room(container) or Decimal(0))


def _room(container: Container) -> Decimal | None:
    """How much more may go into a container; None where there is no limit."""
    if not queries.in_the_book(Container.objects.filter(pk=container.pk)).exists():
        return Decimal(0)
    return container.room


def _places(container: Container, quantity: Decimal, now: dt.datetime) -> list[tuple[Container, Decimal]]:
    """Where so much goes back to: where it came from, and what does not fit there any more into one of its own.

    A bottle that was counted full meanwhile takes no more; what a job brings back is there all the same.
    """
    room = _room(container)
    fits = quantity if room is None else min(room, quantity)
    places = [(container, fits)] if fits else []
    return places if fits == quantity else [*places, (_beside(container, now), quantity - fits)]


def _beside(container: Container, now: dt.datetime) -> Container:
    """A new container of the same pack and cost, open from now on, drawn from in the same turn."""
    return Container.objects.create(
        item=container.item,
        pack=container.pack,
        size=container.size,
        capacity=container.capacity,
        unit_cost=container.unit_cost,
        received_at=container.received_at,
        opened_at=now if container.item.measured else None,
        location=container.location,
    )


def _still_out(draws: Sequence[Movement]) -> list[Movement]:
    keys = [row.pk for row in draws]
    return list(Movement.objects.filter(pk__in=keys, kind=Kind.DRAW, reversed_by=None).select_related("container"))


def _fresh(container: Container) -> Container:
    """Read a container inside the transaction: what was shown on a page may be old."""
    return Container.objects.select_related("item", "pack").get(pk=container.pk)


@once("adjust", Container)
def adjust(
    *,
    key: uuid.UUID,
    container: Container,
    content: Decimal,
    reason: str = "",
    kind: str = Kind.COUNT,
    typed: str = "",
    actor: User | None,
    clock: Clock,
) -> Container:
    """Set what is left in a container, dipped or weighed (count), put right (adjustment) or lost (waste).

    The difference becomes a movement; a count that finds none leaves only its trace in the audit. Raises Refused
    for more than the container can hold, for waste that adds, and for an adjustment or waste without a reason.
    """
    now = clock()
    current = _fresh(container)
    _check_setting(current, content, reason, kind)
    return _set_content(current, content, reason, Kind(kind), typed, actor, now)


def _check_setting(container: Container, content: Decimal, reason: str, kind: str) -> None:
    unit = container.item.base_unit
    if kind not in SETTING:
        raise Refused("Choose whether it was counted, adjusted or wasted.", "kind")
    if content < 0:
        raise Refused("What is left cannot be less than nothing.", "quantity")
    if container.capacity is not None and content > container.capacity:
        said = f"A container of {amount(container.capacity, unit)} cannot hold {amount(content, unit)}."
        raise Refused(said, "quantity")
    if content > container.content and _room(container) == 0:
        raise Refused("Its delivery was undone: nothing can be in it. Receive the delivery again.", "quantity")
    if kind == Kind.WASTE and content > container.content:
        raise Refused("Waste cannot leave more than there was.", "quantity")
    if kind != Kind.COUNT and not reason.strip():
        raise Refused("Write why, in a few words: it stays in the book.", "reason")


def _set_content(
    container: Container,
    content: Decimal,
    reason: str,
    kind: Movement.Kind,
    typed: str,
    actor: User | None,
    now: dt.datetime,
) -> Container:
    before, change = container.content, content - container.content
    if change < 0:
        take(container, kind, -change, actor=actor, now=now, typed=typed, reason=reason)
    elif change > 0:
        value = worth.added_value(change, container.unit_cost)
        post(container, kind, change, value, actor=actor, now=now, typed=typed, reason=reason)
    audit.record(
        f"{kind.label} a container",
        container,
        actor=actor,
        now=now,
        before=str(before),
        after=str(content),
        reason=reason,
    )
    return container


@once("waste", Container)
def waste(
    *,
    key: uuid.UUID,
    container: Container,
    quantity: Decimal,
    reason: str,
    typed: str = "",
    actor: User | None,
    clock: Clock,
) -> Container:
    """Write off what was spilled or thrown away from a container."""
    now = clock()
    current = _fresh(container)
    if quantity > current.content:
        raise Refused(f"It holds only {amount(current.content, current.item.base_unit)}.", "quantity")
    left = current.content - quantity
    _check_setting(current, left, reason, Kind.WASTE)
    return _set_content(current, left, reason, Kind.WASTE, typed, actor, now)


@once("reverse", Movement)
def reverse(
    *, movement: Movement, reason: str, key: uuid.UUID | None = None, actor: User | None, clock: Clock
) -> Movement:
    """Undo a movement by its opposite, in the same container.

    A container that a draw had opened and that is full again counts as sealed. Raises Refused for what is undone
    already, for an undoing itself, for a draw of which something came back, and when what came in is used by now.
    """
    now = clock()
    if key is None:
        return _reverse(movement, reason, actor, now)
    return _reverse(movement, reason, actor, now)


def _reverse(movement: Movement, reason: str, actor: User | None, now: dt.datetime) -> Movement:
    container = _fresh(movement.container)
    _check_undoing(movement, container)
    quantity, value = -movement.quantity, -movement.value
    if quantity < 0:
        # Rounding may have left a millionth more or less in the container than once came with this movement.
        value = -container.value if -quantity == container.content else -min(-value, container.value)
    elif container.content + quantity == container.size and container.opened_at == movement.at:
        container.opened_at = None
    undone = post(container, Kind.REVERSAL, quantity, value, actor=actor, now=now, reason=reason, reverses=movement)
    if movement.kind in queries.CAME:
        _forget_costs(container)
    audit.record("undid a movement", container, actor=actor, now=now, movement=movement.pk, reason=reason)
    return undone


def _forget_costs(container: Container) -> None:
    """What never came taught nothing: neither what a unit costs, nor, with the last of its line, what is asked."""
    item, line = container.item, container.receipt_line
    Item.objects.filter(pk=item.pk).update(last_cost=queries.last_cost_of(item))
    if line is not None and not queries.in_the_book(line.containers.all()).exists():
        forget_prices(receipt_line=line)


def _check_undoing(movement: Movement, container: Container) -> None:
    if movement.kind == Kind.REVERSAL:
        raise Refused("An undo cannot be undone: make a new entry instead.")
    if Movement.objects.filter(reverses=movement).exists():
        raise Refused("This entry is undone already.")
    if movement.returned_by.filter(reversed_by=None).exists():
        raise Refused("Some of this was returned to the shelf: return the rest instead.")
    if movement.quantity < 0 and not has_room(container, -movement.quantity):
        raise Refused(
            f"It cannot be undone: {container.label} holds {queries.holds(container)} by now, and no more than "
            "that fits. Undo what was counted or returned since first, or count what is left."
        )
    if container.content < movement.quantity:
        unit = container.item.base_unit
        raise Refused(
            f"It cannot be undone: of {amount(movement.quantity, unit)} only "
            f"{amount(container.content, unit)} is left in the container."
        )


@once("count", Item)
def count_item(
    *, key: uuid.UUID, item: Item, quantity: Decimal, reason: str = "", actor: User | None, clock: Clock
) -> Item:
    """Set how many of a counted item are there: fewer go from the oldest batch, more come to the newest.

    Raises Refused for a fluid (its containers are set one by one) and for more of what never came.
    """
    now = clock()
    if item.measured:
        raise Refused("A fluid is counted container by container.")
    if quantity < 0:
        raise Refused("There cannot be less than nothing.", "quantity")
    change = quantity - queries.on_hand(item)
    _take_or_add(item, change, reason, actor, now)
    audit.record("counted", item, actor=actor, now=now, quantity=str(quantity), change=str(change))
    return item


def _take_or_add(item: Item, change: Decimal, reason: str, actor: User | None, now: dt.datetime) -> None:
    batches = Container.objects.filter(item=item).select_related("item").order_by("received_at", "pk")
    if change > 0:
        newest = queries.in_the_book(batches).last()
        if newest is None:
            raise Refused("None of it was ever received: enter it as opening stock, with its cost.", "quantity")
        value = worth.added_value(change, newest.unit_cost)
        post(newest, Kind.COUNT, change, value, actor=actor, now=now, reason=reason)
    left = -change
    for batch in batches.filter(content__gt=0) if left > 0 else ():
        part = min(left, batch.content)
        take(batch, Kind.COUNT, part, actor=actor, now=now, reason=reason)
        left -= part
        if not left:
            break
