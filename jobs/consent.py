"""What a customer's words allow: which operations may be worked on and billed now, up to what, and why. Pure.

The sealed records alone answer, in the order of their sequence and never of their time; the sheet and the draft are
held against them. Nothing of the answer is stored. The rules:

- A decision stands for its operation until a later record says otherwise. Nothing put back revives an older one.
- Each operation has its own limit. Σ over operations of max(0, billed − authorized for it) may not pass the slack;
  an operation that is not done or was taken off the sheet lends nothing to another.
- Downward leaves a yes standing; another part, method or tax, and what was added, do not (`offers`).
- A no to an addition leaves the earlier yes as it was; a yes is taken back by a decision of its own.
- Charges of the job as a whole go with any yes: worked out on what is billed, never above what they came to on it as
  it was marked.
- A counter sale is a consent of its own kind: see `sold.py`.

Keys and values come out, no sentences: `consent_words` writes them where they are shown.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal

from garage.money import round_money
from jobs.offers import AMOUNT, METHOD, NOT_AUTHORIZED, NOTHING, Beyond, Line, Offer, Work, beyond

AUTHORIZED, DECLINED, UNDECIDED, WITHDRAWN = "authorized", "declined", "undecided", "withdrawn"

#: In place of an operation: the charges of the job as a whole (`JobWide`). No line of the program is one yet.
JOB_WIDE: None = None


@dataclass(frozen=True)
class JobWide:
    """A charge of the job as a whole, such as supplies by percent or a waste fee: authorized with any yes.

    It is worked out on what is billed: `share` of the lines of these kinds, and `fee` once where there is any of them.
    It is never above what it came to on the marked work; of that, work that is not billed lends nothing. On a bill it
    is the line of operation `JOB_WIDE` that is called `what`.
    """

    what: str
    kinds: frozenset[str]
    share: Decimal = NOTHING
    fee: Decimal = NOTHING
    at_most: Decimal | None = None

    def on(self, lines: Iterable[Line]) -> Decimal:
        """What it comes to on these lines, in cents."""
        charged = [line.net for line in lines if line.kind in self.kinds]
        if not charged:
            return NOTHING
        comes_to = max(NOTHING, round_money(self.share * sum(charged, NOTHING)) + self.fee)
        return comes_to if self.at_most is None else min(comes_to, self.at_most)


@dataclass(frozen=True)
class Said:
    """What was decided on one operation, on which offer, and the customer's words about it."""

    offer: Offer
    decision: str
    words: str = ""


@dataclass(frozen=True)
class Record:
    """One sealed record. `slack` is what may be billed above the yes in all: 0 where the place, or the sentence that
    was agreed to, allows none. `job_wide` are the charges of the whole job that the paper named."""

    seq: int
    said: tuple[Said, ...]
    at: datetime | None = None
    slack: Decimal = NOTHING
    job_wide: tuple[JobWide, ...] = ()


@dataclass(frozen=True)
class Standing:
    """How an operation stands with its customer. `seq` and `at` are those of the record that decides.

    `refused` is an addition declined since. `beside`: an alternative is authorized. `sold`: bought over the counter.
    """

    operation: int
    title: str
    state: str = UNDECIDED
    yes: Offer | None = None
    withdrawn: bool = False
    words: str = ""
    seq: int = 0
    at: datetime | None = None
    refused: Said | None = None
    refused_seq: int = 0
    beside: bool = False
    beyond: tuple[Beyond, ...] = ()
    answered: bool = False
    sold: bool = False

    @property
    def net(self) -> Decimal:
        """What may be billed for it before tax."""
        return self.yes.net if self.yes is not None else NOTHING

    @property
    def reason(self) -> str:
        """The key of why it stands so."""
        if self.sold:
            return "sold"
        if self.state == AUTHORIZED:
            return "addition declined" if self.refused and self.beyond else AUTHORIZED
        if self.state == DECLINED:
            return WITHDRAWN if self.withdrawn else DECLINED
        if self.beside:
            return "alternative"
        return "offered again" if self.seq else "never asked"

    @property
    def asks(self) -> bool:
        """Whether the customer has still to be asked about it, or about what was added to it."""
        if self.state == UNDECIDED:
            return not self.beside
        return self.state == AUTHORIZED and bool(self.beyond) and not self.answered

    @property
    def allows_work(self) -> bool:
        """Whether it may be worked on: it is authorized, and by the method that was agreed to."""
        return self.state == AUTHORIZED and all(beyond.key != METHOD for beyond in self.beyond)

    def allows_line(self, line: int) -> bool:
        """Whether what stands on this line of the sheet may be used."""
        return self.allows_work and all(beyond.line != line for beyond in self.beyond)


@dataclass(frozen=True)
class Consent:
    """What may be worked on and billed on a job. `gone` is authorized work that is no longer on the sheet."""

    operations: Mapping[int, Standing] = field(default_factory=dict)
    gone: tuple[Standing, ...] = ()
    slack: Decimal = NOTHING
    job_wide: tuple[JobWide, ...] = ()
    seq: int = 0

    def of(self, operation: int | None) -> Standing:
        """How an operation stands; undecided when nobody was asked about it."""
        return self.operations.get(operation or 0, Standing(operation or 0, ""))

    def all_in(self, state: str) -> set[int]:
        """The operations of the sheet in a state."""
        return {key for key, row in self.operations.items() if row.state == state}

    @property
    def workable(self) -> set[int]:
        """The operations of the sheet that may be worked on."""
        return {key for key, row in self.operations.items() if row.allows_work}

    @property
    def asks(self) -> set[int]:
        """The operations of the sheet about which the customer has still to be asked."""
        return {key for key, row in self.operations.items() if row.asks}

    @property
    def authorized(self) -> list[Standing]:
        """All that stands authorized, on the sheet and off it."""
        return [row for row in (*self.operations.values(), *self.gone) if row.state == AUTHORIZED]


def consent_from(records: Iterable[Record], sheet: Sequence[Work] = ()) -> Consent:
    """What the records allow, held against the sheet as it is."""
    ordered = sorted(records, key=lambda record: record.seq)
    decided: dict[int, Standing] = {}
    for record in ordered:
        for said in record.said:
            decided[said.offer.operation] = _after(decided.get(said.offer.operation), said, record)
    standing = [_on_sheet(decided.get(work.operation or 0), work) for work in sheet]
    groups = {_group(work) for work, row in zip(sheet, standing, strict=True) if row.state == AUTHORIZED}
    operations = {
        row.operation: replace(row, beside=row.state == UNDECIDED and _group(work) in groups)
        for work, row in zip(sheet, standing, strict=True)
    }
    gone = tuple(row for key, row in decided.items() if key not in operations and row.state == AUTHORIZED)
    slack, job_wide = _slack(ordered)
    return Consent(operations, gone, slack, job_wide, ordered[-1].seq if ordered else 0)


def _after(before: Standing | None, said: Said, record: Record) -> Standing:
    """How an operation stands after one more decision on it."""
    offer = said.offer
    if said.decision == AUTHORIZED:
        return Standing(offer.operation, offer.title, AUTHORIZED, offer, seq=record.seq, at=record.at)
    if said.decision == DECLINED and before is not None and before.state == AUTHORIZED:
        return replace(before, refused=said, refused_seq=record.seq)
    return Standing(
        offer.operation,
        offer.title,
        DECLINED,
        withdrawn=said.decision == WITHDRAWN,
        words=said.words,
        seq=record.seq,
        at=record.at,
    )


def _on_sheet(row: Standing | None, work: Work) -> Standing:
    """An operation of the sheet as it stands: offered again after a no, or gone beyond its yes."""
    if row is None:
        return Standing(work.operation or 0, work.title)
    if row.state == DECLINED and row.seq <= work.offered_again_after:
        return Standing(row.operation, row.title, seq=row.seq, at=row.at)
    if row.yes is None:
        return row
    over = beyond(row.yes, work)
    refused = row.refused if row.refused_seq > work.offered_again_after else None
    return replace(row, beyond=over, refused=refused, answered=refused is not None and not beyond(refused.offer, work))


def _group(work: Work) -> int | None:
    """What alternatives to one another share."""
    return work.alternative_to or work.operation


def _slack(ordered: Sequence[Record]) -> tuple[Decimal, tuple[JobWide, ...]]:
    """The slack of the last yes, less what was refused after it; and the job-wide charges agreed to with that yes."""
    slack, job_wide, yes = NOTHING, tuple[JobWide, ...](), 0
    agreed: dict[int, Decimal] = {}
    for record in ordered:
        for said in record.said:
            known = agreed.get(said.offer.operation)
            if said.decision == AUTHORIZED:
                slack, job_wide, yes = record.slack, record.job_wide, record.seq
                agreed[said.offer.operation] = said.offer.net
            elif said.decision == DECLINED and known is not None and record.seq > yes:
                slack -= max(NOTHING, said.offer.net - known)
            elif said.decision == WITHDRAWN:
                agreed.pop(said.offer.operation, None)
    return max(NOTHING, slack), job_wide if agreed else ()


@dataclass(frozen=True)
class Excess:
    """What of a bill may not be billed: the operation, by how much it passes its own limit, and what else."""

    operation: int | None
    title: str
    over: Decimal
    why: tuple[Beyond, ...]
    limit: Decimal = NOTHING
    with_tax: bool = False


def excess_of(consent: Consent, bill: Sequence[Work]) -> tuple[Excess, ...]:
    """What a bill holds that was not authorized; empty when all of it may be billed.

    The slack covers amounts only: neither work nor a part that nobody agreed to.
    """
    found = [_excess(consent, work) for work in bill if work.operation is not JOB_WIDE]
    found += [_job_wide_excess(consent, work, bill) for work in bill if work.operation is JOB_WIDE]
    over = sum((row.over for row in found if NOT_AUTHORIZED not in {why.key for why in row.why}), NOTHING)
    if over <= consent.slack:
        found = [row if row.why and row.why[0].key == NOT_AUTHORIZED else _covered(row) for row in found]
    return tuple(row for row in found if row.over > 0 or row.why)


def _excess(consent: Consent, work: Work) -> Excess:
    standing = consent.of(work.operation)
    if standing.yes is None:
        net = sum((line.net for line in work.lines), NOTHING)
        return Excess(work.operation, work.title, net, (Beyond(NOT_AUTHORIZED, amount=net),))
    found = beyond(standing.yes, work, bill=True)
    over = sum((row.amount for row in found if row.key == AMOUNT), NOTHING)
    yes = standing.yes
    return Excess(work.operation, work.title, over, found, yes.cost(yes.bases), yes.with_tax)


def _job_wide_excess(consent: Consent, work: Work, bill: Sequence[Work]) -> Excess:
    """By how much the charges of the whole job pass what they come to on the bill, or came to on what was marked."""
    billed = [row for row in bill if row.operation is not JOB_WIDE]
    lines = [line for row in billed for line in row.lines]
    yeses = [consent.of(row.operation).yes for row in billed]
    marked = [line for yes in yeses if yes is not None for line in yes.lines]
    limits = {rule.what: min(rule.on(lines), rule.on(marked)) for rule in consent.job_wide}
    over = sum((max(NOTHING, line.net - limits.pop(line.what, NOTHING)) for line in work.lines), NOTHING)
    return Excess(JOB_WIDE, work.title, over, (), sum((line.net for line in work.lines), NOTHING) - over)


def _covered(row: Excess) -> Excess:
    """The same when the slack covers the amounts."""
    return replace(row, over=NOTHING, why=tuple(why for why in row.why if why.key != AMOUNT))
