"""Two people reach for the last of a fluid at once: one has it, the other is told; the book stays whole."""

import datetime as dt
import threading
import uuid
from decimal import Decimal

import pytest
from django.db import connection

from garage import promises
from garage.clock import fixed
from garage.models import User
from parts.actions.items import save_item
from parts.actions.receiving import Delivered, receive
from parts.actions.stock import Shortage, draw
from parts.models import Item, Movement, Receipt

D = Decimal


@pytest.fixture
def half_a_liter(transactional_db: None, owner: User, now: dt.datetime) -> Item:
    item = save_item(
        actor=owner,
        clock=fixed(now),
        fields={"kind": "fluid", "name": "Last of it", "base_unit": "L"},
        packs=[("0.5 L bottle", D("0.5"), "500 mL", "")],
    )
    line = Delivered(item.packs.get(), item, 1, D("18.00"))
    receive(key=uuid.uuid4(), supplier=None, reference="", lines=[line], actor=owner, clock=fixed(now))
    return item


def both_at_once(act) -> list[object]:
    """What `act` gives or raises in two threads that start together, each with its own connection."""
    start, answers = threading.Barrier(2), []

    def run() -> None:
        start.wait(timeout=10)
        try:
            answers.append(act())
        except Exception as error:
            answers.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=run) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return answers


def test_one_draws_the_last_half_liter_and_the_other_is_told(half_a_liter, owner, now):
    answers = both_at_once(lambda: draw(item=half_a_liter, quantity=D("0.5"), reason="", actor=owner, clock=fixed(now)))
    (shortage,) = [answer for answer in answers if isinstance(answer, Exception)]
    assert isinstance(shortage, Shortage), shortage
    assert str(shortage) == "Only 0.000 L of Last of it is on the shelf; 0.500 L is wanted."
    half_a_liter.refresh_from_db()
    assert (half_a_liter.on_hand, half_a_liter.stock_value) == (0, 0)
    assert Movement.objects.filter(kind="draw").count() == 1
    assert [breach for _name, breaches in promises.run() for breach in breaches] == []


def test_a_delivery_sent_twice_at_once_is_one(half_a_liter, owner, now):
    key, line = uuid.uuid4(), Delivered(half_a_liter.packs.get(), half_a_liter, 3, D("18.00"))
    before = Receipt.objects.count()
    answers = both_at_once(
        lambda: receive(key=key, supplier=None, reference="D-9", lines=[line], actor=owner, clock=fixed(now)).pk
    )
    assert len(set(answers)) == 1, answers
    assert Receipt.objects.count() == before + 1
    half_a_liter.refresh_from_db()
    assert half_a_liter.on_hand == 2
