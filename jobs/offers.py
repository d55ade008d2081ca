"""An operation as it was offered and as it stands: what of it goes beyond the yes that was given. Pure.

Downward (a lower price, a discount, a line removed, a smaller quantity) leaves a yes standing. Another part does not:
another item, condition, maker or specification as printed, method or person doing it; nor does a new line that costs
something, nor a tax class that is taxed higher at the sealed rates (16 CCR 3354(b): another part or method asks for
consent even at the same price). The successor's number of the same item is the same part.

A need authorized "if needed, up to …" may be billed up to that, with an item chosen later. Unused it lends nothing to
anything else, and above it needs a new yes, whatever else became cheaper.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from garage.money import round_money

#: What can go beyond a yes: another part, a new line that costs, a higher tax, another method, a higher amount; and
#: on a bill, work that nobody agreed to.
PART, ADDED, TAXED, METHOD, AMOUNT, NOT_AUTHORIZED = "part", "added", "taxed", "method", "amount", "not authorized"
#: And a need that comes to more than the most that was authorized for it.
NEED = "need"

NOTHING = Decimal("0.00")


@dataclass(frozen=True)
class Line:
    """A line as offered, as it stands on the sheet, or as billed; `net` is before tax.

    `key` is the sheet's line. `item` is the item's own number in the book, `thing` the one that all numbers of its
    supersession chain share. `if_needed` says that `net` is the most it may come to, if it is needed at all.
    """

    key: int | None
    kind: str
    what: str
    net: Decimal
    tax_class: str = "none"
    item: int | None = None
    thing: int | None = None
    finer: str = ""
    condition: str = ""
    sublet_to: str = ""
    if_needed: bool = False


@dataclass(frozen=True)
class Offer:
    """One operation as an estimate offered it; `label` and `seal` name that revision.

    `rates` are the shares of tax by class that the paper carried, None when it was exempt. `with_tax` says that the
    limit binds with tax.
    """

    operation: int
    title: str
    lines: tuple[Line, ...]
    label: str = ""
    seal: str = ""
    row: int = 0
    rates: Mapping[str, Decimal] | None = None
    with_tax: bool = False

    @property
    def net(self) -> Decimal:
        """What it costs before tax."""
        return sum((line.net for line in self.lines), NOTHING)

    def cost(self, lines: Iterable[Line]) -> Decimal:
        """What lines come to as this offer's limit counts: before tax, or with the taxes of its paper."""
        lines = list(lines)
        net = sum((line.net for line in lines), NOTHING)
        if not self.with_tax or self.rates is None:
            return net
        bases: dict[str, Decimal] = {}
        for line in lines:
            bases[line.tax_class] = bases.get(line.tax_class, NOTHING) + line.net
        return net + sum((round_money(base * self.rates.get(name, NOTHING)) for name, base in bases.items()), NOTHING)

    def taxed_higher(self, before: str, now: str) -> bool:
        """Whether a line in class `now` is taxed higher than in class `before`; an unknown class counts as higher."""
        if before == now or now == "none" or self.rates is None:
            return False
        return now not in self.rates or self.rates[now] > self.rates.get(before, NOTHING)


@dataclass(frozen=True)
class Work:
    """An operation as it stands on the sheet, or as it would be billed.

    `offered_again_after` is the sequence of the last record when declined work was offered again (0: it was not).
    """

    operation: int | None
    title: str
    lines: tuple[Line, ...] = ()
    alternative_to: int | None = None
    offered_again_after: int = 0


@dataclass(frozen=True)
class Beyond:
    """One thing that a yes does not cover: its key, the sheet's line if it is about one, and what to say of it."""

    key: str
    line: int | None = None
    before: str = ""
    after: str = ""
    amount: Decimal = NOTHING


def beyond(yes: Offer, work: Work) -> tuple[Beyond, ...]:
    """What of an operation, on the sheet or on a bill, goes beyond the offer that was said yes to."""
    found = [Beyond(METHOD, before=yes.title, after=work.title)] if work.title != yes.title else []
    found += _above_its_most(yes, work)
    yes = met(yes, work)
    for line, before in _matched(yes.lines, work.lines):
        if before is None:
            if line.net > 0:
                found.append(Beyond(ADDED, line.key, after=line.what, amount=line.net))
        elif not same_part(before, line):
            found.append(Beyond(PART, line.key, as_printed(before), as_printed(line)))
        elif yes.taxed_higher(before.tax_class, line.tax_class):
            found.append(Beyond(TAXED, line.key, before.what, line.what))
    over = yes.cost(work.lines) - yes.cost(yes.lines)
    if over > 0:
        found.append(Beyond(AMOUNT, amount=over))
    return tuple(found)


def met(yes: Offer, work: Work) -> Offer:
    """The offer with each of its needs as it was met: by what was chosen for it, at what that comes to, up to its most.

    A need that was not used is left out, so that it lends nothing.
    """
    answers = [(before, line) for line, before in _matched(yes.lines, work.lines)]
    lines = []
    for offered in yes.lines:
        now = next((line for before, line in answers if before is offered), None)
        if not offered.if_needed:
            lines.append(offered)
        elif now is not None:
            chosen = now if _meets(offered, now) else offered
            lines.append(replace(chosen, net=min(now.net, offered.net), tax_class=offered.tax_class))
    return replace(yes, lines=tuple(lines))


def _above_its_most(yes: Offer, work: Work) -> list[Beyond]:
    """The needs that come to more than the most that was authorized for each of them."""
    return [
        Beyond(NEED, line.key, before.what, line.what, line.net - before.net)
        for line, before in _matched(yes.lines, work.lines)
        if before is not None and before.if_needed and line.net > before.net
    ]


def _meets(need: Line, now: Line) -> bool:
    """Whether a line is what was authorized "if needed": the part that was named, or one chosen for a need without one.

    An item off the shelf may be called otherwise; what is only described keeps the words it was read out with, and
    may say more after them. A condition that was printed stays.
    """
    if need.item is not None or now.kind == "labor":
        return same_part(need, now)
    if (need.kind, need.finer, need.sublet_to) != (now.kind, now.finer, now.sublet_to):
        return False
    if need.condition not in ("", now.condition):
        return False
    return now.item is not None or now.what.startswith(need.what)


def same_part(before: Line, now: Line) -> bool:
    """Whether two lines are the same part, by the same hands; another quantity, price or discount makes no other one.

    What is printed counts too (a maker, a specification), unless the number is another one of the same chain.
    """
    if (before.kind, before.finer, before.condition, before.sublet_to) != (
        now.kind,
        now.finer,
        now.condition,
        now.sublet_to,
    ):
        return False
    if before.thing != now.thing:
        return False
    return before.what == now.what or (now.thing is not None and before.item != now.item)


def as_printed(line: Line) -> str:
    """A line as a sentence names it."""
    whose = f"done by {line.sublet_to}" if line.sublet_to else ""
    return ", ".join(filter(None, [line.what, line.condition, whose]))


def _matched(offered: Sequence[Line], lines: Sequence[Line]) -> list[tuple[Line, Line | None]]:
    """Each line with the offered one it answers: the same row of the sheet, else the same part written anew."""
    free = {line.key or -place: line for place, line in enumerate(offered, start=1)}
    pairs = [(line, free.pop(line.key, None) if line.key else None) for line in lines]
    matched: list[tuple[Line, Line | None]] = []
    for line, before in pairs:
        if before is None:
            key = next((key for key, other in free.items() if same_part(other, line)), None)
            before = free.pop(key) if key is not None else None
        matched.append((line, before))
    return matched
