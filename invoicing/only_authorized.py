"""Bringing a draft down to what was authorized: what that takes off, and what was taken off before.

The other way is to ask the customer. What nobody said yes to is given up by the garage, and its owner sees it.
"""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Sum

from garage.models import AuditEntry, TaxClass
from garage.money import spoken
from invoicing import charges, queries
from invoicing.drafts import DraftInvoice, bill_of
from invoicing.sums import Charge, Sums
from jobs import queries as jobs_queries
from jobs.consent import Excess
from jobs.models import Finer, Job, Line
from jobs.offers import METHOD, NOT_AUTHORIZED
from jobs.write_offs import TakenOff, to_take_off

#: How the audit trail calls the act.
GAVE_UP = "billed only what was authorized"
#: For how long its owner sees on Today what a garage gave up.
SEEN_FOR = dt.timedelta(days=30)

ZERO = Decimal("0.00")


@dataclass(frozen=True)
class GivenUp:
    """What of one operation would not be charged: one amount, above zero, for each tax class."""

    operation: int
    title: str
    off: tuple[TakenOff, ...]

    @property
    def net(self) -> Decimal:
        """What comes off before tax."""
        return sum((row.amount for row in self.off), ZERO)

    @property
    def shown(self) -> list[tuple[str, str]]:
        """What comes off, as the page lists it: of what, how that is taxed, and how much."""
        return [(_of_what(row), spoken(row.amount)) for row in self.off]


def _of_what(row: TakenOff) -> str:
    more = ["more than was authorized"] if row.above else []
    return f"{', '.join([*row.names, *more])} · taxed as {TaxClass(row.tax_class).label}"


@dataclass(frozen=True)
class Plan:
    """What a draft would lose to hold only what was authorized; `why_not` says what keeps it from being done."""

    rows: tuple[GivenUp, ...]
    why_not: tuple[str, ...]

    @property
    def net(self) -> Decimal:
        """What comes off before tax."""
        return sum((row.net for row in self.rows), ZERO)

    @property
    def may(self) -> bool:
        """Whether there is something that can be taken off."""
        return bool(self.rows) and not self.why_not


def plan_of(made: DraftInvoice) -> Plan:
    """What would be taken off a draft, and from which operations."""
    if not made.excess:
        return Plan((), ())
    works = {work.operation: work for work in bill_of(made.job, made.operations, made.on)}
    rows, why_not = [], []
    for excess in made.excess:
        yes = made.consent.of(excess.operation).yes
        if problem := _problem(made, excess):
            why_not.append(problem)
        elif yes is not None and (off := to_take_off(yes, works[excess.operation])):
            rows.append(GivenUp(excess.operation or 0, excess.title, off))
    return Plan(tuple(rows), tuple(why_not))


def _problem(made: DraftInvoice, excess: Excess) -> str:
    """Why an operation cannot be brought down to what was authorized; empty when it can."""
    operation = next(row for row in made.job.operations.all() if row.pk == excess.operation)
    for why in excess.why:
        if why.key == METHOD:
            return (
                f"“{why.after}” is another work than “{why.before}”, which was authorized: give it that title again "
                "if it is what was done, or ask the customer."
            )
        if why.key == NOT_AUTHORIZED:
            return f"“{excess.title}” is not authorized: ask the customer."
    return "" if operation.finished_at else f"“{excess.title}” is not finished yet."


def sums_after(made: DraftInvoice, plan: Plan) -> Sums:
    """What the draft comes to after it, with the taxes of its day; Refused without a tax rate."""
    again = {row.operation for row in plan.rows}
    kept = [
        charge
        for row in made.operations
        for charge in row.charges
        if not (row.operation in again and charge.finer == Finer.WRITE_OFF)
    ]
    off = [_charge(row) for given in plan.rows for row in given.off]
    return charges.sums_of([*kept, *off], made.job.customer, queries.rates_on(made.on), made.on)


def _charge(row: TakenOff) -> Charge:
    return Charge(
        None, "charge", "", Decimal(1), "each", -row.amount, row.tax_class, -row.amount, finer=Finer.WRITE_OFF
    )


@dataclass(frozen=True)
class Seen:
    """What a garage gave up on a job, by whom and when: for its owner."""

    job: Job
    entry: AuditEntry
    net: Decimal


def given_up_since(since: dt.datetime) -> Iterator[Seen]:
    """What was given up since a moment and not charged again, the last first; three queries whatever there is."""
    acts = AuditEntry.objects.filter(verb=GAVE_UP, at__gte=since).select_related("actor").order_by("-pk")
    last: dict[int, AuditEntry] = {}
    for entry in acts:
        last.setdefault(entry.details["job"], entry)
    off = Line.objects.filter(operation__job__in=last, finer=Finer.WRITE_OFF).order_by().values("operation__job")
    nets = dict(off.annotate(net=Sum("unit_price")).values_list("operation__job", "net"))
    rows = {job.pk: job for job in jobs_queries.jobs().filter(pk__in=nets)}
    for key, entry in last.items():
        if key in rows:
            yield Seen(rows[key], entry, -nets[key])
