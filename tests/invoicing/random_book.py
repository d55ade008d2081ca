"""A book that random sequences of the real verbs write: how one act is done, and what all promises say of it after.

The acts themselves stand in random_shelf.py, random_work.py and random_money.py. A verb may refuse what it is asked
(`Refused`, with its sentence); any other exception, and any promise of `books_check` that does not hold, is a fault.
"""

import datetime as dt
import functools
import inspect
import uuid
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, ClassVar, TypeVar

from django.db import connection, models, transaction
from hypothesis import note
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, rule

from garage import heads, promises
from garage.actions.customers import save_customer
from garage.actions.erasing import erase_side_rows
from garage.actions.vehicles import save_vehicle
from garage.asking import answer_to
from garage.clock import fixed
from garage.errors import Questions, Refused
from garage.models import AuditEntry, SideRow, User
from jobs.actions.procedures import publish
from jobs.actions.writing_up import add_operation
from jobs.procedure_files import parse
from parts.actions.items import save_item
from parts.actions.receiving import Delivered, receive
from parts.actions.suppliers import save_supplier
from parts.models import Item
from tests.invoicing.cast import Garage, charge, labor, part
from tests.invoicing.raw_rows import Book
from tests.invoicing.recomputed import recomputed
from tests.jobs.bay_cast import PROCEDURE, stock_item

D = Decimal
Row = TypeVar("Row", bound=models.Model)
Made = TypeVar("Made")

#: Which of several rows an act is about: the newest is 0.
AT = st.integers(0, 3)
MONEY = st.one_of(
    st.sampled_from([D("0.01"), D("19.99"), D("74.90"), D("250"), D("1200")]), st.decimals("0.01", "400", places=2)
)
LITERS = st.sampled_from([D("0.25"), D("0.85"), D("0.946352946"), D("1"), D("1.7"), D("2.5")])


class Idle(Exception):
    """There is nothing in the book yet that this act could be about."""


def act(**drawn: Any) -> Callable[[Callable[..., None]], Any]:
    """Make a method one of the machine's acts; it may find nothing to be about."""

    def decorate(method: Callable[..., None]) -> Any:
        @functools.wraps(method)
        def run(self: "RandomBook", **given: Any) -> None:
            try:
                method(self, **given)
            except Idle:
                self.tally.idle += 1
            except Exception:
                self.broken = True
                raise

        return rule(**drawn)(run)

    return decorate


@dataclass
class Tally:
    """What truly happened over all sequences: verbs that did something, and verbs that refused, by name."""

    done: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    sentences: Counter[str] = field(default_factory=Counter)
    books: int = 0
    checks: int = 0
    idle: int = 0
    repeats: int = 0

    def times(self, *names: str) -> int:
        """How often any of these verbs did something."""
        return sum(self.done[name] for name in names)

    def told(self) -> str:
        """A table of it, for a person."""
        head = f"{self.books} books, {self.checks} checks, {self.repeats} second taps, {self.idle} acts about nothing\n"
        names = sorted(self.done.keys() | self.refused.keys())
        return head + "".join(f"{self.done[name]:8} done {self.refused[name]:8} refused  {name}\n" for name in names)


def named(verb: Callable[..., Any]) -> str:
    """A verb by module and name: `payments.refund`."""
    return f"{verb.__module__.rpartition('.')[2]}.{verb.__name__}"


class RandomBook(RuleBasedStateMachine):
    """One book, from the cast below on; it is gone when its sequence ends."""

    people: ClassVar[dict[str, User]]
    start: ClassVar[dt.datetime]
    tally: ClassVar[Tally] = Tally()

    def __init__(self) -> None:
        super().__init__()
        self.now = self.latest = self.start
        self.broken = False
        self.last: tuple[Callable[..., Any], dict[str, Any], Any] | None = None
        self.kept = heads.Kept({})
        self.own = transaction.atomic()
        self.own.__enter__()

    @property
    def who(self) -> dict[str, Any]:
        """By whom and when the next act is done."""
        return {"actor": self.people["counter"], "clock": fixed(self.now)}

    def do(self, verb: Callable[..., Made], **given: Any) -> Made | None:
        """Do one act; None when the verb refused. The clock goes on by a minute."""
        asked = {**self.who, **given}
        keyed = "key" in inspect.signature(verb).parameters
        if keyed:
            asked.setdefault("key", uuid.uuid4())
        name = named(verb)
        try:
            made = self.answered(verb, asked)
            connection.check_constraints()  # what the end of the act's own transaction would ask
        except Refused as error:
            self.tally.refused[name] += 1
            self.tally.sentences[f"{name}: {error}"] += 1
            note(f"{name} refused: {error}")
            return None
        self.tally.done[name] += 1
        if keyed:
            self.last = (verb, asked, made)
        self.now += dt.timedelta(minutes=1)
        self.latest = max(self.latest, self.now)
        return made

    def answered(self, verb: Callable[..., Made], asked: dict[str, Any]) -> Made:
        """Do an act, and answer yes to what its verb asks back."""
        try:
            return verb(**asked)
        except Questions as back:
            answer = answer_to(back.questions)
            if "data" in asked:
                asked["data"] = {**asked["data"], "as_it_is": answer}
            elif "as_it_is" in inspect.signature(verb).parameters:
                asked["as_it_is"] = answer
            return verb(**asked)

    def pick(self, rows: "models.QuerySet[Row]", at: int) -> Row:
        """One of the newest rows; Idle when there is none."""
        found = list(rows.order_by("-pk")[:6])
        if not found:
            raise Idle
        return found[at % len(found)]

    # The clock, the second tap, the check

    @act(hours=st.sampled_from([1, 3, 24, 9 * 24, 45 * 24]))
    def time_passes(self, hours: int) -> None:
        self.now += dt.timedelta(hours=hours)
        self.latest = max(self.latest, self.now)

    @act(back=st.sampled_from([dt.timedelta(minutes=50), dt.timedelta(hours=30), dt.timedelta(days=12)]))
    def the_clock_is_set_back(self, back: dt.timedelta) -> None:
        self.now -= back
        self.tally.done["clock set back"] += 1

    @act()
    def the_clock_is_right_again(self) -> None:
        self.now = self.latest + dt.timedelta(minutes=1)

    @act()
    def the_second_tap(self) -> None:
        """The same key and words again: the same row, or none if it was removed since, and no trace of a second act."""
        if self.last is None:
            raise Idle
        verb, asked, made = self.last
        entries = AuditEntry.objects.count()
        again = self.repeated(verb, asked)
        assert again in (made, None), f"{named(verb)} gave {made} first, {again} to the same key again"
        assert AuditEntry.objects.count() == entries, f"{named(verb)} with the same key again did something"
        self.tally.repeats += 1

    def repeated(self, verb: Callable[..., Any], asked: dict[str, Any]) -> Any:
        """What a verb answers to the same key again; None when it says that its row was removed."""
        try:
            return verb(**asked)
        except Refused as error:
            self.tally.refused["second tap"] += 1
            self.tally.sentences[f"second tap: {error}"] += 1
            return None

    @act(now=st.integers(0, 5))
    def books_check(self, now: int) -> None:
        """At some points of a sequence too: a breach that a later act covers up is one all the same."""
        if now == 1:
            self.check()

    def check(self) -> None:
        """Every promise holds, and what was in the book at the last check is still in it."""
        breaches = [f"{name}: {breach}" for name, found in promises.run() for breach in found]
        breaches += heads.missing(self.kept)
        assert not breaches, "\n".join(breaches)
        self.kept = heads.Kept(heads.current())
        self.tally.checks += 1

    def teardown(self) -> None:
        try:
            if not self.broken:
                self.check()
                wrong = list(recomputed(Book(rows_of)))
                assert not wrong, wrong
                self.tally.books += 1
        finally:
            transaction.set_rollback(True)
            self.own.__exit__(None, None, None)

    @act(now=st.integers(0, 9))
    def names_are_erased(self, now: int) -> None:
        """Eight years later nobody's name is kept any more: the chains, seals and sums stay whole."""
        if now == 1:
            self.now = self.latest = self.latest + dt.timedelta(days=8 * 366)
            self.do(erase_side_rows, rows=list(SideRow.objects.filter(erased_at=None)))
            self.check()


def rows_of(table: str) -> list[dict[str, Any]]:
    """The rows of a table as plain SQL gives them."""
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT * FROM "{table}"')
        names = [column[0] for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def cast(garage: Garage) -> None:
    """What stands in the book before the first act: people, cars, goods, a procedure, tax rates, jobs at each stage.

    So any few acts have something to be about.
    """
    garage.rates(parts="0.0725", labor="0", sublet="0", charge="0.0725")
    who: dict[str, Any] = {"actor": garage.actor, "clock": fixed(garage.now)}
    owner = garage.customer()
    fleet = garage.customer("Fell Haulage Ltd.", kind="company", contact="Ines Fell")
    fields = {"make": "Brannock", "model": "Fell 2.4", "plate": "KET-118"}
    save_vehicle(fields=fields, owner=owner, **who)
    save_customer(fields={"name": "Odile Marrant"}, phones=[("555-0142", "")], emails=[], **who)
    fluid = stock_item("Transfer case fluid", "TC-75", "L", 3, "1", garage.actor, garage.now)
    stock_item("Sealing washer", "W-10", "each", 1, "10", garage.actor, garage.now)
    oil, pads = _goods(who)
    revision = publish(written=parse(PROCEDURE), **who)
    billed = [labor(), part(), charge("Shop supplies", "4.05"), garage.poured(fluid, "0.85")]
    invoice = garage.issue(garage.done(billed, customer=owner))
    garage.pay(invoice, "19.99")
    garage.done([labor("0.3"), garage.poured(oil, "0.7")], customer=owner)
    in_bay = garage.job([labor()], [part()], customer=fleet)
    add_operation(job=in_bay, title=revision.procedure.title, revision=revision, **who)
    garage.authorize(garage.estimate(in_bay), person_name="Ines Fell")
    garage.into_bay(in_bay)
    written = garage.job([labor(), part(str(pads), quantity="2", item=pads)])
    garage.deposit(written, "50")


def _goods(who: dict[str, Any]) -> tuple[Item, Item]:
    """Oil in two packs and pads with a core deposit, delivered."""
    supplier = save_supplier(fields={"name": "Harrow Lubricants", "lead_days": 2}, **who)
    packs = [("1 L bottle", D(1), "1 L", ""), ("1 qt bottle", D("0.946352946"), "1 qt", "")]
    fields: dict[str, Any] = {"kind": "fluid", "name": "Axle oil", "base_unit": "L", "price": D("30.69")}
    oil = save_item(fields=fields, numbers=[("own", "AX-1")], packs=packs, **who)
    fields = {"kind": "part", "name": "Pad set", "base_unit": "each", "price": D("74.90"), "core_deposit": D("15.00")}
    pads = save_item(fields=fields, packs=[("box of 2", D(2), "2", "")], **who)
    first, second = oil.packs.order_by("pk")
    lines = [Delivered(first, oil, 2, D("12.40")), Delivered(second, oil, 1, D("11.95"))]
    lines.append(Delivered(pads.packs.get(), pads, 3, D("81.20")))
    receive(key=uuid.uuid4(), supplier=supplier, reference="D-1", lines=lines, **who)
    return oil, pads
