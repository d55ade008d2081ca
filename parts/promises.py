"""What the shelf promises of its data; `books_check` runs each."""

from collections.abc import Iterator

from django.db.models import F, Q, Sum

from garage import ledger, promises
from parts.models import Container, Item, Movement, ReceiptLine, Supersession


def containers_add_up() -> Iterator[str]:
    """Each container's content and value are the sums of its movements, and none is below zero."""
    summed = Container.objects.annotate(moved=Sum("movements__quantity"), worth=Sum("movements__value")).order_by("pk")
    for row in summed.exclude(content=F("moved"), value=F("worth")):
        yield (
            f"Container {row.pk}: says {row.content:f} worth {row.value:f}, "
            f"its movements add up to {row.moved or 0:f} worth {row.worth or 0:f}"
        )
    for row in summed.filter(moved=None):
        yield f"Container {row.pk}: was made without a movement"
    for bad in Container.objects.filter(Q(content__lt=0) | Q(value__lt=0)):
        yield f"Container {bad.pk}: holds less than nothing"
    for bad in Container.objects.filter(content=0).exclude(value=0):
        yield f"Container {bad.pk}: is empty but worth {bad.value:f}"


def containers_hold_what_fits() -> Iterator[str]:
    """No container of fluid holds more than its pack, and nothing is put into one whose coming was undone."""
    for row in Container.objects.select_related("item", "pack").filter(content__gt=F("capacity")):
        yield f"Container {row.pk}: {row.content:f} is in it, {row.capacity:f} fits"
    for row in Container.objects.filter(item__base_unit=Item.BaseUnit.LITER, capacity=None):
        yield f"Container {row.pk}: nothing says how much fits in"
    pieces = Movement.objects.filter(item__base_unit=Item.BaseUnit.EACH).values_list("pk", "quantity")
    for key, quantity in pieces.iterator(chunk_size=2000):
        if quantity % 1:
            yield f"Movement {key}: {quantity:f} is no whole number of pieces"


def items_add_up() -> Iterator[str]:
    """Each item's stock and its value are the sums of its movements, which are those of its containers."""
    for row in Item.objects.annotate(moved=Sum("movements__quantity"), worth=Sum("movements__value")).order_by("pk"):
        if (row.on_hand, row.stock_value) != (row.moved or 0, row.worth or 0):
            yield (
                f"Item {row.pk} {row}: says {row.on_hand:f} worth {row.stock_value:f}, "
                f"its movements add up to {row.moved or 0:f} worth {row.worth or 0:f}"
            )
        if row.on_hand < 0 or row.stock_value < 0:
            yield f"Item {row.pk} {row}: less than nothing on hand"
    for movement in Movement.objects.exclude(item=F("container__item")):
        yield f"Movement {movement.pk}: its container holds another item"


def deliveries_arrived() -> Iterator[str]:
    """Each line of a delivery put into containers what it says, for what it says it cost."""
    received = Q(containers__movements__kind=Movement.Kind.RECEIPT)
    lines = ReceiptLine.objects.annotate(
        came=Sum("containers__movements__quantity", filter=received),
        cost=Sum("containers__movements__value", filter=received),
    )
    for line in lines:
        if (line.came, line.cost) != (line.quantity, line.packs * line.pack_price):
            yield f"Delivery {line.receipt_id}, {line}: {line.came or 0:f} worth {line.cost or 0:f} reached the shelf"


def undoings_mirror() -> Iterator[str]:
    """Each undoing is the opposite of what it undoes, in the same container; no draw comes back twice."""
    for row in Movement.objects.filter(reverses__isnull=False).exclude(
        quantity=-1 * F("reverses__quantity"), container=F("reverses__container")
    ):
        yield f"Movement {row.pk}: does not mirror movement {row.reverses_id}"
    back = Sum("returned_by__quantity", filter=Q(returned_by__reversed_by=None))
    for draw in Movement.objects.filter(returned_by__isnull=False).annotate(back=back).exclude(back=None):
        if draw.back > -draw.quantity:
            yield f"Movement {draw.pk}: {draw.back:f} came back of {-draw.quantity:f} drawn"


def chains_end() -> Iterator[str]:
    """Every supersession chain has an end, and every replaced item knows it."""
    following = dict(Supersession.objects.filter(until=None).values_list("old", "new"))
    for item in Item.objects.filter(Q(pk__in=following) | ~Q(current=None)):
        seen, end = {item.pk}, following.get(item.pk)
        while end in following and end not in seen:
            seen.add(end)
            end = following[end]
        if end in seen:
            yield f"Item {item.pk} {item}: its replacements go round in a circle"
        elif item.current_id != end:
            yield f"Item {item.pk} {item}: does not lead to item {end}, the end of its replacements"


def ledger_is_whole() -> Iterator[str]:
    """The chain of stock movements has no row missing, changed or out of order."""
    yield from ledger.breaks(Movement)


def register() -> None:
    """Hand the shelf's promises to `books_check`."""
    promises.register("containers equal the sum of their movements", containers_add_up)
    promises.register("containers hold no more than their pack, pieces are whole", containers_hold_what_fits)
    promises.register("items equal the sum of their movements", items_add_up)
    promises.register("deliveries reached the shelf", deliveries_arrived)
    promises.register("undoings and returns match what they undo", undoings_mirror)
    promises.register("replaced items lead to today's", chains_end)
    promises.register("the stock ledger is whole", ledger_is_whole)
