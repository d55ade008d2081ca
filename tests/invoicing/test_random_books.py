"""`books_check` never cries over a book that the program's own verbs wrote, whatever the order they came in.

A sample runs with every test run, always the same; the thousand sequences of `make prove` are new ones each time, on
SQLite and, within bin/with-postgres, on PostgreSQL. That a broken book is told is held by the tests of each promise.
"""

import ast
import inspect
import sys
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from invoicing.models import Receivable
from tests.invoicing.cast import Garage
from tests.invoicing.random_book import RandomBook, Tally, act, cast, named
from tests.invoicing.random_money import Money
from tests.invoicing.random_shelf import Shelf

pytestmark = pytest.mark.timeout(600)  # real work; a busy runner is slow

ROOT = Path(__file__).parents[2]
books = settings(deadline=None, database=None, suppress_health_check=list(HealthCheck))
#: Not shrunk, since each step is real work: the sequence printed is the one that was found.
sample = settings(books, max_examples=15, stateful_step_count=30, derandomize=True, phases=[Phase.generate])
thousand = settings(books, max_examples=1000, stateful_step_count=30, phases=[Phase.generate])

#: Verbs that no sequence does by itself: what another verb does in passing, and what has nothing to do with the
#: figures and papers of the book (logins, files, photos), each with a test of its own.
IN_PASSING = {
    "write_offs.write_off", "write_offs.take_back_write_offs",
    "customers.walk_in_customer", "counter_sale.open_sale", "draws.hand_over",
    "draws.draw_at_step", "draws.undo_at_step", "draws.return_billed", "stock.draw", "stock.give_back",
    "stages.move", "stages.settle", "evidence.record_sample", "not_done.end_as_not_done",
}  # fmt: skip
ASIDE = {
    "people.add_person", "people.change_person", "people.set_password", "people.change_own_password",
    "erasing.erase_file", "erasing.erase_mail", "forgetting.forget_customer",
    "evidence.photograph_step", "evidence.answer_sample", "intake.add_photo", "intake.add_photos",
    "suppliers.save_supplier",
}  # fmt: skip


#: What undoes something.
UNDONE = (
    "payments.reverse_payment", "receiving.undo_receipt", "stock.reverse", "items.take_back_supersession",
    "removing.put_back", "merging.part_customer",
)  # fmt: skip


class AnyBook(Shelf, Money):
    """Every act there is."""


@pytest.fixture
def tally(garage: Garage) -> Iterator[Tally]:
    """What the sequences of a test come to, printed at its end; the cast is in the book."""
    cast(garage)
    RandomBook.people, RandomBook.start, RandomBook.tally = garage.people, garage.now, Tally()
    yield RandomBook.tally
    sys.stdout.write(RandomBook.tally.told())


def verbs() -> Iterator[Callable[..., Any]]:
    """Every verb of the program: the functions of the actions that take a clock."""
    for path in sorted(ROOT.glob("*/actions/*.py")):
        module = import_module(f"{path.parent.parent.name}.actions.{path.stem}")
        for name, verb in inspect.getmembers(module, inspect.isfunction):
            own = verb.__module__ == module.__name__ and not name.startswith("_")
            if own and hasattr(verb, "__wrapped__") and "clock" in inspect.signature(verb).parameters:
                yield verb


def test_no_sequence_of_verbs_makes_the_check_cry(tally: Tally) -> None:
    run_state_machine_as_test(AnyBook, settings=sample)
    assert tally.books == 15
    assert tally.times("invoices.issue", "invoices.credit", "selling.sell") >= 8
    assert tally.times("payments.take_payment", "payments.take_deposit", "payments.take_on_account") >= 8
    assert tally.times(*UNDONE) >= 3
    assert len(tally.done) > 35 and tally.done.total() > 200, "the sample shows little"


@pytest.mark.prove
@pytest.mark.timeout(0)  # half an hour of one core's work
def test_a_thousand_sequences_of_verbs_make_no_check_cry(tally: Tally) -> None:
    run_state_machine_as_test(AnyBook, settings=thousand)
    assert tally.books >= 1000
    never = {named(verb) for verb in verbs()} - set(tally.done) - IN_PASSING - ASIDE
    assert never == set(), "no sequence did these even once"
    for verb in ("invoices.issue", "invoices.credit", "payments.take_payment", *UNDONE):
        assert tally.done[verb] >= 5, f"{verb} was hardly ever done"
    assert tally.repeats > 50
    assert tally.done["clock set back"] > 50


def test_every_verb_is_an_act_of_some_sequence_or_named_here() -> None:
    """A verb that is added joins the random books, or says above why not."""
    done = set()
    for path in Path(__file__).parent.glob("random_*.py"):
        for row in ast.walk(ast.parse(path.read_text())):
            if isinstance(row, ast.ImportFrom) and ".actions." in (row.module or ""):
                done |= {f"{str(row.module).rpartition('.')[2]}.{name.name}" for name in row.names}
    known = {named(verb) for verb in verbs()}
    assert len(known) > 60
    assert known - done == IN_PASSING | ASIDE - {"suppliers.save_supplier"}


class BrokenBook(Money):
    """A book in which something goes behind the verbs' backs."""

    @act()
    def a_figure_is_changed(self) -> None:
        Receivable.objects.update(balance=1)


def test_a_sequence_that_breaks_a_promise_is_found(tally: Tally) -> None:
    with pytest.raises(AssertionError, match="what is owed equals invoices less credits less payments"):
        run_state_machine_as_test(BrokenBook, settings=settings(sample, max_examples=30, stateful_step_count=10))
