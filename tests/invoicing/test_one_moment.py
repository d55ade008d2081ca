"""`books_check` while two people take payments: it looks at one moment of the book, and nobody waits for it."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection

from garage.models import User
from garage.reading import one_moment
from invoicing.models import Payment
from tests.invoicing.cast import Garage, labor

RUNS = 6
PATIENCE = 10  # seconds; a writer that waited for a check would wait for SQLite's 20


@contextmanager
def busy(*hands: Callable[[], object]) -> Iterator[None]:
    """Let each hand do its act over and over, in a thread of its own, while the block runs."""
    stop, broken = threading.Event(), []

    def work(act: Callable[[], object]) -> None:
        try:
            while not stop.is_set():
                act()
        except Exception as error:
            broken.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=work, args=(act,)) for act in hands]
    for thread in threads:
        thread.start()
    try:
        yield
    finally:
        stop.set()
        for thread in threads:
            thread.join()
    assert not broken


def test_a_sound_book_is_never_cried_over_while_two_people_take_payments(
    transactional_db: None, garage: Garage
) -> None:
    owed = [garage.issue(garage.done([labor("99")])) for _ in range(2)]
    with busy(*(partial(garage.pay, invoice, "0.01") for invoice in owed)):
        for _ in range(RUNS):
            before = Payment.objects.count()
            said = StringIO()
            call_command("books_check", stdout=said)  # a breach is a CommandError
            assert "BROKEN" not in said.getvalue()
            assert Payment.objects.count() > before, "nobody paid meanwhile: nothing is shown"


def test_a_payment_does_not_wait_for_the_reader_and_is_not_in_its_moment(
    transactional_db: None, garage: Garage
) -> None:
    invoice = garage.issue(garage.done([labor("1")]))

    def pay() -> None:
        garage.pay(invoice, "50.00")
        connection.close()

    with one_moment():
        assert Payment.objects.count() == 0
        paying = threading.Thread(target=pay)
        paying.start()
        paying.join(PATIENCE)
        assert not paying.is_alive(), "the payment waits for the reader"
        assert Payment.objects.count() == 0
    assert Payment.objects.count() == 1


def test_nothing_can_be_written_in_it_and_everything_afterwards(
    transactional_db: None, people: dict[str, User]
) -> None:
    with pytest.raises(DatabaseError), one_moment():
        User.objects.update(name="somebody")
    User.objects.update(name="somebody else")
    assert set(User.objects.values_list("name", flat=True)) == {"somebody else"}


def test_within_a_transaction_it_is_the_transactions_own_moment(db: None, people: dict[str, User]) -> None:
    usual = connection.connection
    with one_moment():
        assert connection.connection is usual
        assert User.objects.count() == len(people)
