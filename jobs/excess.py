"""What of a bill was not authorized, held against the customer's consent. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from jobs.consent import AMOUNT, JOB_WIDE, NOT_AUTHORIZED, NOTHING, Beyond, Consent, Work, beyond


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
    found = beyond(standing.yes, work)
    over = sum((row.amount for row in found if row.key == AMOUNT), NOTHING)
    yes = standing.yes
    return Excess(work.operation, work.title, over, found, yes.cost(yes.lines), yes.with_tax)


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
