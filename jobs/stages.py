"""The stages of a job: which may follow which, and the sentence that says what a job waits for. Pure: no Django here.

A stage is never shown as a word or a color alone: the sentence names who or what the job waits for, and since when.
"""

import datetime as dt

WRITTEN_UP = "written_up"
AWAITING = "awaiting"
READY = "ready"
IN_BAY = "in_bay"
FINISHED = "finished"
INVOICED = "invoiced"
CLOSED = "closed"
CANCELED = "canceled"

#: What may come after each stage. Work found later sends a job back from the bay to its customer, and a price above
#: what was authorized a finished one, which is finished still when they agree; a credit note
#: opens an invoiced job again; a payment taken back opens a closed one. One with nothing to bill is closed at once.
FOLLOWS: dict[str, frozenset[str]] = {
    WRITTEN_UP: frozenset({AWAITING, READY, CANCELED}),
    AWAITING: frozenset({WRITTEN_UP, READY, IN_BAY, FINISHED, CANCELED}),
    READY: frozenset({WRITTEN_UP, AWAITING, IN_BAY, CANCELED}),
    IN_BAY: frozenset({WRITTEN_UP, AWAITING, READY, FINISHED, CANCELED}),
    FINISHED: frozenset({AWAITING, IN_BAY, INVOICED, CLOSED}),
    INVOICED: frozenset({FINISHED, CLOSED}),
    CLOSED: frozenset({FINISHED, INVOICED}),
    CANCELED: frozenset({WRITTEN_UP}),
}

#: The jobs whose work is still to be done; and all that are open: there operations and lines may still be written,
#: afterwards the paper is out or the visit is over.
UNFINISHED = frozenset({WRITTEN_UP, AWAITING, READY, IN_BAY})
OPEN = frozenset({*UNFINISHED, FINISHED})
BILLED = frozenset({INVOICED, CLOSED})

#: What each stage waits for when nobody said anything more exact.
_WAITS_FOR = {
    WRITTEN_UP: "an estimate",
    AWAITING: "the customer’s authorization",
    READY: "the bay",
    FINISHED: "the invoice",
    INVOICED: "payment",
}


def may_follow(stage: str, following: str) -> bool:
    """Say whether a job at `stage` may go to `following`; an unknown stage is a KeyError."""
    return following in FOLLOWS[stage]


def under_way(stage: str, started: bool) -> bool:
    """Whether steps may be worked on: the car is in the bay, or its customer is asked about more while it is there."""
    return stage == IN_BAY or (stage == AWAITING and started)


def may_start(stage: str, *, begun: bool, left: bool) -> bool:
    """Whether the car can be taken into the bay: it is ready, or its customer is asked about more and meanwhile some
    authorized work is `left` and none `begun`."""
    return stage == READY or (stage == AWAITING and left and not begun)


def is_late(stage: str, promised_at: dt.datetime | None, now: dt.datetime) -> bool:
    """Whether the car was promised for a moment that has passed, and its work is not done."""
    return promised_at is not None and promised_at < now and stage in UNFINISHED


def sentence(stage: str, waits_for: str, when: str) -> str:
    """Who or what a job waits for, and since when: “waits for Odile Marrant since 9:02 AM”.

    `waits_for` is what was said when the stage was reached: a person, a part, the technician in the bay, or why a
    job was canceled or closed without an invoice. `when` is the moment in words. An unknown stage is a KeyError.
    """
    FOLLOWS[stage]
    if stage == IN_BAY:
        return f"in the bay with {waits_for} since {when}" if waits_for else f"in the bay since {when}"
    if stage == CLOSED:
        return f"closed without an invoice {when}: {waits_for}" if waits_for else f"closed {when}"
    if stage == CANCELED:
        return f"canceled {when}: {waits_for}" if waits_for else f"canceled {when}"
    waiting = f"waits for {waits_for or _WAITS_FOR[stage]} since {when}"
    return f"{stage}, {waiting}" if stage in (FINISHED, INVOICED) else waiting
