"""What is to be taken off the bill of one operation so that it holds only what was authorized. Pure.

The part that was drawn stays drawn, the hours stay worked: what nobody said yes to is not charged. It comes off by a
line below zero for each tax class, so that base and tax fall too.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal

from jobs.offers import (
    NOTHING,
    WRITE_OFF,
    Offer,
    Work,
    bases_of,
    exemption_gone,
    met,
    not_agreed,
    not_agreed_bases,
    write_offs_of,
)

CENT = Decimal("0.01")


@dataclass(frozen=True)
class TakenOff:
    """What comes off one tax class of an operation, above zero, and what it was for: lines of which nothing was
    agreed to by their names, and whether more of it is above what was authorized."""

    tax_class: str
    amount: Decimal
    names: tuple[str, ...]
    above: bool


def before_write_offs(work: Work) -> Work:
    """The operation as it would be billed if nothing had been written off."""
    return replace(work, lines=tuple(line for line in work.lines if line.finer != WRITE_OFF))


def to_take_off(yes: Offer, work: Work) -> tuple[TakenOff, ...]:
    """What comes off each tax class of a bill, whatever was written off before; empty when nothing has to.

    First what nobody agreed to at all; then, from the classes that grew most since the yes, as much as is above its
    limit, or above what was heard with tax where the garage changed the tax. No class falls below zero.
    """
    work = before_write_offs(work)
    offered, yes = yes, met(yes, work)
    left = {name: max(base, NOTHING) for name, base in work.bases.items()}
    whole = {name: min(base, left[name]) for name, base in not_agreed_bases(offered, work).items() if base > 0}
    bases = {name: base - whole.get(name, NOTHING) for name, base in work.bases.items()}
    enough = _limits(offered, yes, work)
    for name, most in _order(yes, bases):
        if enough(bases):
            break
        bases[name] -= _least(most, bases, name, enough)
    names = _names(offered, work)
    return tuple(
        TakenOff(name, base - bases[name], names.get(name, ()), base - bases[name] > whole.get(name, NOTHING))
        for name, base in work.bases.items()
        if base > bases[name]
    )


def too_much_off(yes: Offer, work: Work) -> Decimal:
    """By how much more is written off than has to be, since the bill fell after it: no class makes up for another."""
    taken = bases_of(write_offs_of(yes, work))
    due = {row.tax_class: row.amount for row in to_take_off(yes, work)} if taken else {}
    return sum((max(NOTHING, -net - due.get(name, NOTHING)) for name, net in taken.items()), NOTHING)


def _limits(offered: Offer, yes: Offer, work: Work) -> Callable[[dict[str, Decimal]], bool]:
    """Whether amounts by class are within what was authorized, with tax where the garage changed the tax."""
    tax_changed = exemption_gone(yes, work) > 0 or any(not row.whole for row in not_agreed(offered, work))

    def enough(bases: dict[str, Decimal]) -> bool:
        if yes.cost(bases, exempt=work.exempt) > yes.cost(yes.bases):
            return False
        return not tax_changed or yes.gross(bases, exempt=work.exempt) <= yes.gross(yes.bases)

    return enough


def _order(yes: Offer, bases: dict[str, Decimal]) -> list[tuple[str, Decimal]]:
    """From which class how much may come off, one after the other: what grew since the yes, then what is taxed most."""
    grown = {name: base - yes.bases.get(name, NOTHING) for name, base in bases.items()}
    by_growth = sorted(grown, key=lambda name: -grown[name])
    by_rate = sorted(bases, key=lambda name: -(yes.rate_of(name) or NOTHING))
    first = [(name, min(grown[name], bases[name])) for name in by_growth if grown[name] > 0 and bases[name] > 0]
    taken = dict(first)
    return [*first, *((name, bases[name] - taken.get(name, NOTHING)) for name in by_rate if bases[name] > 0)]


def _least(
    most: Decimal, bases: dict[str, Decimal], name: str, enough: Callable[[dict[str, Decimal]], bool]
) -> Decimal:
    """The least that comes off a class so that it is enough, to the cent; `most` when even that is not."""
    low, high = 0, int(most / CENT)
    while low < high:
        middle = (low + high) // 2
        if enough({**bases, name: bases[name] - middle * CENT}):
            high = middle
        else:
            low = middle + 1
    return low * CENT


def _names(yes: Offer, work: Work) -> dict[str, tuple[str, ...]]:
    """The lines of which nothing was agreed to, by tax class."""
    named: dict[str, tuple[str, ...]] = {}
    for row in not_agreed(yes, work):
        if row.whole and row.line.net > 0:
            named[row.line.tax_class] = (*named.get(row.line.tax_class, ()), row.line.what)
    return named
