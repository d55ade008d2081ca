"""Asking about the clock before a paper gets its number, and keeping what the owner said."""

import datetime as dt
from collections.abc import Iterable

from django.utils import timezone

from garage import audit, clockguard, dates
from garage.clock import Clock
from garage.clockguard import Doubt
from garage.errors import Refused
from garage.ledger import append, aside
from garage.models import ClockNote, Role, User

Kind = ClockNote.Kind


def leapt(clock: Clock, now: dt.datetime) -> dt.timedelta:
    """By how much the real clock leapt ahead of the machine's running time while this process ran, or since the owner
    last answered for it. Nothing for a clock that lives in another year, as the demo's does."""
    if clock is not timezone.now:
        return dt.timedelta(0)
    start = clockguard.STARTED
    answered = ClockNote.objects.filter(kind=Kind.LEAP, at__gte=dt.datetime.fromtimestamp(clockguard.BEGAN, dt.UTC))
    last = answered.order_by("-chain_seq").first()
    if last is not None:
        start = last.machine_start
    return dt.timedelta(seconds=clockguard.started_at(now.timestamp()) - start)


def unanswered(doubts: Iterable[Doubt]) -> list[Doubt]:
    """Those doubts that the owner has not answered for yet."""
    return [doubt for doubt in doubts if not _answered(doubt)]


def _answered(doubt: Doubt) -> bool:
    notes = ClockNote.objects.filter(kind=doubt.kind)
    if doubt.kind == clockguard.BACK:
        return notes.filter(until__gte=doubt.other).exists()
    # A leap is measured from the last answer (`leapt`); a silence is over with the day that was answered for.
    return doubt.kind == clockguard.SILENCE and notes.filter(day=doubt.today).exists()


def said(doubt: Doubt, actor: User | None) -> str:
    """The question in words, with what this person can do about it."""
    today, other = dates.day(doubt.today), dates.day(doubt.other)
    if doubt.kind == clockguard.BACK:
        found = f"The computer says {today}, but a paper is dated {other} already."
    elif doubt.kind == clockguard.LEAP:
        found = f"The computer’s clock leapt ahead by {_hours(doubt.ahead)} while the program ran. It says {today}."
    else:
        found = f"The computer says {today}, and the last entry of the book was written on {other}."
    if is_owner(actor):
        return f"{found} If that is wrong, set the computer’s clock first. If it is right, write why."
    return f"{found} The owner must check the date, and set the clock or write why, before a number is given."


def _hours(ahead: dt.timedelta) -> str:
    hours = round(ahead.total_seconds() / 3600)
    return f"{hours} hours" if hours < 48 else f"{round(hours / 24)} days"


def is_owner(actor: User | None) -> bool:
    """Whether this person may answer for the clock."""
    return actor is not None and actor.role == Role.OWNER


def answer(doubts: Iterable[Doubt], *, reason: str, actor: User | None, now: dt.datetime) -> None:
    """Keep the owner's reason for each doubt, sealed; Refused (field `clock_reason`) without one, and for others.

    Must be called inside the act's transaction, before its number is given.
    """
    reason = " ".join(reason.split())
    for doubt in doubts:
        if not reason or actor is None or not is_owner(actor):
            raise Refused(said(doubt, actor), "clock_reason")
        note = append(
            ClockNote(
                kind=doubt.kind,
                at=now,
                day=doubt.today,
                until=doubt.other,
                machine_start=int(clockguard.started_at(now.timestamp())),
                by=actor,
                **aside(reason=reason),
            )
        )
        audit.record("answered for the clock", note, actor=actor, now=now, kind=doubt.kind)
