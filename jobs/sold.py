"""The consent of a counter sale: who buys over the counter agrees by buying. Pure.

It is a kind of its own beside the authorizations (`consent.py`), and holds for what comes from the shelf alone: labor
and what somebody else does are work, and need an estimate and a yes.
"""

from collections.abc import Sequence

from jobs.consent import AUTHORIZED, Consent, Standing
from jobs.offers import Offer, Work

#: What is sold over the counter: things from the shelf, and the core deposit that is charged with one.
OVER_THE_COUNTER = frozenset({"part", "fluid"})


def over_the_counter(kind: str, finer: str) -> bool:
    """Whether a line of this kind can be sold over the counter; labor and sublet work make it a job."""
    return kind in OVER_THE_COUNTER or (kind, finer) == ("charge", "core")


def sold(sheet: Sequence[Work]) -> Consent:
    """What may be billed of a counter sale: what was handed over and is on it, the sale itself being the consent."""
    standing = [
        Standing(work.operation, work.title, AUTHORIZED, Offer(work.operation, work.title, work.lines), sold=True)
        for work in sheet
        if work.operation is not None and all(over_the_counter(line.kind, line.finer) for line in work.lines)
    ]
    return Consent({row.operation: row for row in standing})
