"""The shelf's cast: a transfer fluid, its supplier, a plug kit, made by the program's own verbs."""

import datetime as dt
import uuid
from collections.abc import Callable
from decimal import Decimal

import pytest

from garage.clock import fixed
from garage.models import User
from parts.actions.items import save_item
from parts.actions.receiving import Delivered, receive
from parts.actions.stock import draw
from parts.actions.suppliers import save_supplier
from parts.models import Item, Receipt, Supplier

D = Decimal


@pytest.fixture
def owner(people: dict[str, User]) -> User:
    """Who does things in these tests."""
    return people["owner"]


@pytest.fixture
def supplier(owner: User, now: dt.datetime) -> Supplier:
    return save_supplier(actor=owner, clock=fixed(now), fields={"name": "Harrow Lubricants", "lead_days": 2})


@pytest.fixture
def fluid(owner: User, now: dt.datetime) -> Item:
    """Kestrel TF-31: bought in liter and quart bottles, nothing of it there yet."""
    return save_item(
        actor=owner,
        clock=fixed(now),
        fields={
            "kind": "fluid",
            "name": "TF-31 transfer fluid",
            "brand": "Kestrel",
            "base_unit": "L",
            "location": "B2",
            "minimum": D(2),
            "wanted": D(5),
        },
        numbers=[("maker", "KS-31 07"), ("own", "TF31")],
        specifications=["KX 75W"],
        packs=[("1 L bottle", D(1), "1 L", "4006381333931"), ("1 qt bottle", D("0.946352946"), "1 qt", "")],
    )


@pytest.fixture
def kit(owner: User, now: dt.datetime) -> Item:
    """A plug kit, counted, bought singly or in boxes of ten."""
    return save_item(
        actor=owner,
        clock=fixed(now),
        fields={"kind": "part", "name": "Plug kit PK-12", "brand": "Fell", "base_unit": "each", "minimum": D(2)},
        packs=[("box of 10", D(10), "10", "")],
    )


@pytest.fixture
def deliver(owner: User, supplier: Supplier, now: dt.datetime) -> Callable[..., Receipt]:
    """`deliver(item, "1 L bottle", 3, "36.00")`: three of those packs come, at 36.00 a pack."""

    def arrive(item: Item, label: str, packs: int, price: str, at: dt.datetime = now) -> Receipt:
        pack = item.packs.get(label=label) if label else None
        line = Delivered(pack, item, packs, D(price))
        return receive(key=uuid.uuid4(), supplier=supplier, reference="D-1", lines=[line], actor=owner, clock=fixed(at))

    return arrive


@pytest.fixture
def out(owner: User, now: dt.datetime) -> Callable[..., list]:
    """`out(item, "0.7")` draws from the shelf."""
    return lambda item, quantity: draw(item=item, quantity=D(quantity), reason="job 1", actor=owner, clock=fixed(now))
