"""The laws of the stock ledger, over random days at the shelf; costs compared with the pure costing module.

Worked by hand where figures stand; the equality with `costing.fifo` is a check against the calculation that is itself
checked with published examples (test_costing.py).
"""

import datetime as dt
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from garage import promises
from garage.clock import fixed
from garage.errors import Refused
from garage.models import User
from parts import costing, worth
from parts.actions.receiving import Delivered, receive, undo_receipt
from parts.actions.stock import Shortage, adjust, draw, give_back, reverse, waste
from parts.models import Container, Item, Movement, Receipt
from parts.queries import on_hand

D = Decimal
pytestmark = pytest.mark.django_db

quantities = st.decimals(min_value=D("0.001"), max_value=D("3"), places=3)
prices = st.decimals(min_value=D("0"), max_value=D("90"), places=2)
acts = st.lists(
    st.one_of(
        st.tuples(st.just("receive"), st.sampled_from(["1 L bottle", "1 qt bottle"]), st.integers(1, 3), prices),
        st.tuples(st.just("draw"), quantities),
        st.tuples(st.just("count"), st.integers(0, 9), st.decimals(min_value=0, max_value=1, places=3)),
        st.tuples(st.just("waste"), st.integers(0, 9), quantities),
        st.tuples(st.just("return"), st.integers(0, 9), quantities),
        st.tuples(st.just("reverse"), st.integers(0, 30)),
        st.tuples(st.just("undo_delivery"), st.integers(0, 5)),
    ),
    min_size=6,
    max_size=20,
)


@contextmanager
def own_book() -> Iterator[None]:
    """One example's own book: hypothesis runs many in one test, and each begins with an empty shelf."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


class Day:
    """A day at the shelf that does what it is told, where the shelf lets it."""

    def __init__(self, item: Item, actor: User, now: dt.datetime) -> None:
        self.item, self.refusals = item, 0
        self.who: dict[str, Any] = {"actor": actor, "clock": fixed(now)}

    def do(self, act: tuple) -> None:
        try:
            getattr(self, act[0])(*act[1:])
        except Refused:
            self.refusals += 1

    def receive(self, label: str, packs: int, price: Decimal) -> None:
        lines = [Delivered(self.item.packs.get(label=label), self.item, packs, price)]
        receive(key=uuid.uuid4(), supplier=None, reference="", lines=lines, **self.who)

    def draw(self, quantity: Decimal) -> None:
        draw(item=self.item, quantity=quantity, reason="", **self.who)

    def container(self, number: int) -> Container:
        containers = Container.objects.filter(item=self.item).order_by("pk")
        if not containers:
            raise Refused("nothing there")
        return containers[number % len(containers)]

    def count(self, number: int, content: Decimal) -> None:
        adjust(key=uuid.uuid4(), container=self.container(number), content=content, **self.who)

    def waste(self, number: int, quantity: Decimal) -> None:
        waste(key=uuid.uuid4(), container=self.container(number), quantity=quantity, reason="spilled", **self.who)

    def movement(self, number: int, **which: object) -> Movement:
        movements = Movement.objects.filter(item=self.item, **which).order_by("pk")
        if not movements:
            raise Refused("nothing moved")
        return movements[number % len(movements)]

    def reverse(self, number: int) -> None:
        reverse(movement=self.movement(number), reason="a slip", **self.who)

    def undo_delivery(self, number: int) -> None:
        receipts = Receipt.objects.order_by("pk")
        undo_receipt(key=uuid.uuid4(), receipt=receipts[number % len(receipts)], reason="not ours", **self.who)

    def __getattr__(self, name: str) -> object:
        if name == "return":
            return self.give_back
        raise AttributeError(name)

    def give_back(self, number: int, quantity: Decimal) -> None:
        give_back(draws=[self.movement(number, kind="draw")], quantity=quantity, reason="", **self.who)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(acts=acts)
@own_book()
def test_whatever_happens_at_the_shelf_the_book_adds_up(acts, fluid, owner, now):
    day = Day(fluid, owner, now)
    for act in [("receive", "1 L bottle", 2, D("36.01")), ("receive", "1 qt bottle", 1, D("34.07")), *acts]:
        day.do(act)
    assert [breach for _name, breaches in promises.run() for breach in breaches] == []
    fluid.refresh_from_db()
    movements = Movement.objects.filter(item=fluid)
    assert fluid.on_hand == sum((m.quantity for m in movements), D(0)) >= 0
    assert fluid.stock_value == sum((m.value for m in movements), D(0)) >= 0
    containers = Container.objects.filter(item=fluid)
    assert fluid.on_hand == sum((c.content for c in containers), D(0))
    assert fluid.stock_value == sum((c.value for c in containers), D(0))
    assert all(0 <= c.content <= (c.capacity or 0) and c.value >= 0 for c in containers)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    deliveries=st.lists(st.tuples(st.integers(1, 3), prices), min_size=1, max_size=4),
    draws=st.lists(quantities, max_size=6),
)
@own_book()
def test_draws_cost_what_first_in_first_out_says(deliveries, draws, fluid, owner, now):
    day, moves, costs = Day(fluid, owner, now), [], []
    for packs, price in deliveries:
        day.receive("1 L bottle", packs, price)
        moves.append(costing.Move(D(packs), price))
    for quantity in draws:
        if quantity > on_hand(fluid):
            with pytest.raises(Shortage):
                draw(item=fluid, quantity=quantity, reason="", **day.who)
            continue
        rows = draw(item=fluid, quantity=quantity, reason="", **day.who)
        costs.append(-sum((row.value for row in rows), D(0)))
        moves.append(costing.Move(-quantity, None))
    expected = costing.fifo(moves)
    fluid.refresh_from_db()
    assert fluid.on_hand == expected.quantity
    # Bottles of one liter at a price in cents: three decimals of liters times cents end within six places.
    assert costs == expected.issue_costs
    assert fluid.stock_value == expected.value


@given(quantity=quantities, price=st.decimals(min_value=0, max_value=90, places=2), size=quantities)
def test_a_container_emptied_in_sips_gives_up_all_its_value_and_no_more(quantity, price, size):

    cost, content, value, given_up = worth.unit_cost(price, size), size, price, D(0)
    while content:
        sip = min(quantity, content)
        part = worth.taken_value(sip, cost, content, value)
        assert part >= 0
        content, value, given_up = content - sip, value - part, given_up + part
    assert (value, given_up) == (0, price)
