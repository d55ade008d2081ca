"""How long money has been owed. Pure: no Django here."""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal, localcontext

from garage.numbers import WORKING, exact, whole

LONGEST = 36_500  # a hundred years of days: beyond it an edge is a slip of the keyboard


@dataclass(frozen=True)
class Receivable:
    """What one invoice still owes, and when it is due; a credit has a balance below zero."""

    due: date
    balance: Decimal


def age(receivables: Iterable[Receivable], as_of: date, edges: Sequence[int] = (30, 60, 90)) -> list[Decimal]:
    """Sum balances by days past due on `as_of`: not due, 1–30, 31–60, 61–90, over 90.

    A balance due on `as_of` itself is not due yet; an edge belongs to the group it ends. Answers len(edges)
    + 2 figures, which together equal the sum of the balances. Raises ValueError for edges that do not rise,
    for a time where a day is wanted, and for a non-finite balance.
    """
    today = _day(as_of, "As-of date")
    limits = _checked_edges(edges)
    groups = [Decimal("0.00")] * (len(limits) + 2)
    with localcontext(WORKING):
        for number, receivable in enumerate(receivables, start=1):
            days = (today - _day(receivable.due, f"Due date of receivable {number}")).days
            group = 0 if days <= 0 else 1 + bisect_left(limits, days)
            groups[group] += exact(receivable.balance, f"Balance of receivable {number}")
    return groups


def _checked_edges(edges: Sequence[int]) -> list[int]:
    limits: list[int] = []
    for edge in edges:
        limit = whole(edge, "Edge", least=1, most=LONGEST)
        if limits and limit <= limits[-1]:
            raise ValueError(f"Edges must rise: {limit} comes after {limits[-1]}.")
        limits.append(limit)
    return limits


def _day(value: date, name: str) -> date:
    """A datetime is a date to Python, but its day depends on a time zone: the caller must choose it."""
    if isinstance(value, datetime) or not isinstance(value, date):
        raise ValueError(f"{name} must be a date, not {type(value).__name__}.")
    return value
