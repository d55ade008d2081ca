"""An operation as it was offered and as it stands: what of it goes beyond the yes that was given. Pure.

Downward (a lower price, a discount, a line removed, a smaller quantity) leaves a yes standing. Another part does not:
another item, condition, maker or specification as printed, method or person doing it (16 CCR 3354(b): another part or
method asks for consent even at the same price); nor does a new line that costs something, nor what costs more at the
sealed rates because the garage changed the tax: another class, an exemption that is gone. The successor's number of
the same item is the same part.

A need authorized "if needed, up to …" may be billed up to that, with an item chosen later. Unused it lends nothing to
anything else, and above it needs a new yes, whatever else became cheaper.

What the garage takes off again by a write-off (`write_offs`) is not beyond the yes any more: nobody pays for it.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from garage.money import round_money

#: What can go beyond a yes: another part, a new line that costs, a higher tax, an exemption that is gone, another
#: method, a need that comes to more than its most, a higher amount; and on a bill, work that nobody agreed to.
PART, ADDED, TAXED, EXEMPTION, METHOD, AMOUNT = "part", "added", "taxed", "exemption", "method", "amount"
NEED, NOT_AUTHORIZED = "need", "not authorized"

#: The finer kind of the line by which the garage takes off a bill what nobody authorized.
WRITE_OFF = "write_off"
CORE_REFUND = "core_refund"

NOTHING = Decimal("0.00")

#: Amounts before tax, by tax class.
Bases = Mapping[str, Decimal]


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
class Tax:
    """One tax at one rate, and the tax classes it is on: rounded once over all of them, as on a paper."""

    rate: Decimal
    classes: frozenset[str]


@dataclass(frozen=True)
class Offer:
    """One operation as an estimate offered it; `label` and `seal` name that revision.

    `taxes` are those of its day, sealed with the paper (None: none are known), `exempt` says that none was charged on
    it. `with_tax` says that the limit binds with tax.
    """

    operation: int
    title: str
    lines: tuple[Line, ...]
    label: str = ""
    seal: str = ""
    row: int = 0
    taxes: tuple[Tax, ...] | None = None
    exempt: bool = False
    with_tax: bool = False

    @property
    def net(self) -> Decimal:
        """What it costs before tax."""
        return sum((line.net for line in self.lines), NOTHING)

    @property
    def bases(self) -> Bases:
        """What it costs before tax, by tax class."""
        return bases_of(self.lines)

    @property
    def as_work(self) -> "Work":
        """The operation as it was offered, to be held against another offer."""
        return Work(self.operation, self.title, self.lines, exempt=self.exempt)

    def cost(self, bases: Bases, *, exempt: bool | None = None) -> Decimal:
        """What amounts come to as this offer's limit counts: before tax, or with the taxes of its paper.

        `exempt` says that no tax is charged on them (None: as on the paper).
        """
        return self.gross(bases, exempt=exempt) if self.with_tax else sum(bases.values(), NOTHING)

    def gross(self, bases: Bases, *, exempt: bool | None = None) -> Decimal:
        """What amounts come to with the taxes of this offer's paper."""
        net = sum(bases.values(), NOTHING)
        if self.taxes is None or (self.exempt if exempt is None else exempt):
            return net
        taxed = ((tax.rate, sum((bases.get(name, NOTHING) for name in tax.classes), NOTHING)) for tax in self.taxes)
        return net + sum((round_money(base * rate) for rate, base in taxed), NOTHING)

    def rate_of(self, tax_class: str) -> Decimal | None:
        """The share of tax that was sealed for a class; None when nobody heard one."""
        if tax_class == "none" or self.taxes is None:
            return NOTHING
        on_it = [tax.rate for tax in self.taxes if tax_class in tax.classes]
        return sum(on_it, NOTHING) if on_it else None

    def taxed_higher(self, before: str, now: str) -> bool:
        """Whether a line in class `now` is taxed higher than in class `before`; an unknown class counts as higher."""
        if before == now or self.exempt:
            return False
        rate = self.rate_of(now)
        return rate is None or rate > (self.rate_of(before) or NOTHING)


@dataclass(frozen=True)
class Work:
    """An operation as it stands on the sheet, or as it would be billed.

    `offered_again_after` is the sequence of the last record when declined work was offered again (0: it was not).
    `exempt` says whether its customer is exempt from tax (None: that is not asked here).
    """

    operation: int | None
    title: str
    lines: tuple[Line, ...] = ()
    alternative_to: int | None = None
    offered_again_after: int = 0
    exempt: bool | None = None

    @property
    def bases(self) -> Bases:
        """What it costs before tax, by tax class."""
        return bases_of(self.lines)


@dataclass(frozen=True)
class Beyond:
    """One thing that a yes does not cover: its key, the sheet's line if it is about one, and what to say of it."""

    key: str
    line: int | None = None
    before: str = ""
    after: str = ""
    amount: Decimal = NOTHING


@dataclass(frozen=True)
class NotAgreed:
    """A line that goes beyond a yes, or what of it does. `whole` says that nothing of that was agreed to; else only its
    tax was not."""

    line: Line
    beyond: Beyond
    whole: bool


def bases_of(lines: Iterable[Line]) -> dict[str, Decimal]:
    """What lines come to before tax, by tax class."""
    bases: dict[str, Decimal] = {}
    for line in lines:
        bases[line.tax_class] = bases.get(line.tax_class, NOTHING) + line.net
    return bases


def beyond(yes: Offer, work: Work, *, bill: bool = False) -> tuple[Beyond, ...]:
    """What of an operation goes beyond the offer that was said yes to, on the sheet or (`bill`) on a bill.

    On a bill nothing is beyond it that is not charged: a part that nobody agreed to, at nothing.
    """
    found = [Beyond(METHOD, before=yes.title, after=work.title)] if work.title != yes.title else []
    found += [row.beyond for row in _charged_beyond(yes, work, bill=bill)]
    yes = met(yes, work)
    if (tax := exemption_gone(yes, work)) > 0 and _costs_more_with_tax(yes, work):
        found.append(Beyond(EXEMPTION, amount=tax))
    over = yes.cost(work.bases, exempt=work.exempt) - yes.cost(yes.bases)
    if over > 0:
        found.append(Beyond(AMOUNT, amount=over))
    return tuple(found)


def exemption_gone(yes: Offer, work: Work) -> Decimal:
    """The tax that work costs now although its customer was exempt when they said yes."""
    if not yes.exempt or work.exempt is not False:
        return NOTHING
    return yes.gross(work.bases, exempt=False) - yes.gross(work.bases, exempt=True)


def not_agreed(yes: Offer, work: Work) -> list[NotAgreed]:
    """The lines that go beyond a yes, whatever was written off."""
    return [
        row
        for line, before in _matched(yes.lines, work.lines)
        for row in _of_line(yes, line, before, exempt=bool(work.exempt))
    ]


def _of_line(yes: Offer, line: Line, before: Line | None, *, exempt: bool) -> Iterator[NotAgreed]:
    if before is None:
        if line.net > 0:
            yield NotAgreed(line, Beyond(ADDED, line.key, after=line.what, amount=line.net), whole=True)
        return
    if not (_meets(before, line) if before.if_needed else same_part(before, line)):
        yield NotAgreed(line, Beyond(PART, line.key, as_printed(before), as_printed(line), line.net), whole=True)
        return
    if not exempt and yes.taxed_higher(before.tax_class, line.tax_class):
        unheard = yes.rate_of(line.tax_class) is None
        yield NotAgreed(line, Beyond(TAXED, line.key, before.what, line.what), whole=unheard)
        if unheard:
            return
    if before.if_needed and line.net > before.net:
        more = replace(line, net=line.net - before.net)
        yield NotAgreed(more, Beyond(NEED, line.key, before.what, line.what, more.net), whole=True)


def not_agreed_bases(yes: Offer, work: Work) -> dict[str, Decimal]:
    """What the lines of which nothing was agreed to come to, by tax class; a core that came back is taken off it."""
    whole = [row.line for row in not_agreed(yes, work) if row.whole]
    return bases_of([*whole, *(line for line in _added(yes, work) if line.finer == CORE_REFUND)])


def write_offs_of(yes: Offer, work: Work) -> list[Line]:
    """The lines by which the garage took something off since the yes."""
    return [line for line in _added(yes, work) if line.finer == WRITE_OFF]


def _added(yes: Offer, work: Work) -> list[Line]:
    return [line for line, before in _matched(yes.lines, work.lines) if before is None]


def _charged_beyond(yes: Offer, work: Work, *, bill: bool) -> list[NotAgreed]:
    """The lines beyond a yes that are charged, or on the sheet could be.

    A line of which nothing was agreed to is not, once its tax class is written off by what such lines come to in it,
    or to nothing; what is taxed higher is not, while the operation costs no more with tax than was heard.
    """
    found = not_agreed(yes, work)
    if not found:
        return []
    whole, taken, total = not_agreed_bases(yes, work), bases_of(write_offs_of(yes, work)), work.bases
    yes = met(yes, work)
    given_up = {name for name, base in whole.items() if name in taken and -taken[name] >= base}
    given_up |= {name for name in (total if bill else taken) if total[name] <= 0}
    costs_more = _costs_more_with_tax(yes, work)

    def charged(row: NotAgreed) -> bool:
        if not row.whole:
            return costs_more
        return row.line.tax_class not in given_up and (row.line.net > 0 or not bill)

    return [row for row in found if charged(row)]


def _costs_more_with_tax(yes: Offer, work: Work) -> bool:
    return yes.gross(work.bases, exempt=work.exempt) > yes.gross(yes.bases)


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
