"""The one place where a movement of stock is written: ledger row, container and item in the same breath."""

import datetime as dt
from decimal import Decimal

from django.db.models import F, Value

from garage.errors import Refused
from garage.fields import QuantityField, UnitPriceField
from garage.ledger import append, aside
from garage.models import User
from garage.texts import fitting
from parts import worth
from parts.models import Container, Item, Movement


def post(
    container: Container,
    kind: Movement.Kind,
    quantity: Decimal,
    value: Decimal,
    *,
    actor: User | None,
    now: dt.datetime,
    typed: str = "",
    reason: str = "",
    reverses: Movement | None = None,
    returns: Movement | None = None,
) -> Movement:
    """Append a movement and bring the running sums of its container and its item along.

    For the verbs of this app, inside their transaction; `container` must have been read in it.
    """
    if not container.item.measured and quantity % 1:
        raise Refused(f"{container.item} is counted in whole pieces.", "quantity")
    movement = append(
        Movement(
            item_id=container.item_id,
            container=container,
            kind=kind,
            quantity=quantity,
            value=value,
            typed=fitting(typed, 40, "quantity"),
            reverses=reverses,
            returns=returns,
            at=now,
            by=actor,
            **aside(reason=reason),
        )
    )
    container.content += quantity
    container.value += value
    container.save(update_fields=["content", "value", "opened_at"])
    Item.objects.filter(pk=container.item_id).update(
        on_hand=F("on_hand") + Value(quantity, QuantityField()),
        stock_value=F("stock_value") + Value(value, UnitPriceField()),
    )
    return movement


def take(
    container: Container,
    kind: Movement.Kind,
    quantity: Decimal,
    *,
    actor: User | None,
    now: dt.datetime,
    typed: str = "",
    reason: str = "",
) -> Movement:
    """Take `quantity` out of a container, which stands open from then on if it is poured from."""
    value = worth.taken_value(quantity, container.unit_cost, container.content, container.value)
    if container.item.measured and container.opened_at is None:
        container.opened_at = now
    return post(container, kind, -quantity, -value, actor=actor, now=now, typed=typed, reason=reason)
