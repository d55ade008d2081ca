"""Whether the day that a paper would bear is to be asked about first."""

import datetime as dt
import zoneinfo

from django.db.models import Max

from garage import clockguard, shop
from garage.actions import clock_notes
from garage.clock import Clock
from garage.clockguard import Doubt
from garage.models import AuditEntry, User
from invoicing.models import Invoice


def series_of(day: dt.date) -> str:
    """The series a paper of that day is numbered in: one a year."""
    return f"invoice:{day.year}"


def open_doubts(clock: Clock, now: dt.datetime) -> list[Doubt]:
    """What speaks against a paper that is numbered now, and was not answered for."""
    today = shop.day_of(now)
    # Of all series: a clock that fell back into another year, as with a dead battery, is in a series of its own.
    last = Invoice.objects.aggregate(day=Max("issued_on"))["day"]
    return clock_notes.unanswered(
        clockguard.doubts(
            today=today,
            last_paper=last,
            last_entry=_last_entry(today),
            ahead=clock_notes.leapt(clock, now),
        )
    )


def _last_entry(today: dt.date) -> dt.date | None:
    """The day of the book's last entry. Once papers were given on earlier
    days, what the same clock wrote today does not vouch for it:
    a job opened on a wrong morning would hide the month before it."""
    entries = AuditEntry.objects.order_by("-pk")
    if Invoice.objects.filter(issued_on__lt=today).exists():
        zone = zoneinfo.ZoneInfo(shop.profile().time_zone)
        entries = entries.filter(at__lt=dt.datetime.combine(today, dt.time.min, zone))
    last = entries.first()
    return shop.day_of(last.at) if last is not None else None


def questions(clock: Clock, actor: User) -> list[str]:
    """The same in words, for the page on which a paper is issued."""
    return [clock_notes.said(doubt, actor) for doubt in open_doubts(clock, clock())]
