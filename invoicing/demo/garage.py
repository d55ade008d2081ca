"""The demo garage while its story is told: who is there, what stands where, and the clock."""

import datetime as dt
import heapq
import uuid
import zoneinfo
from collections.abc import Generator, Iterable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import count

from garage.models import Customer, User, Vehicle
from invoicing.demo.cast import SHOP
from jobs.models import Component, ProcedureRevision
from parts.models import Item, Supplier

ZONE = zoneinfo.ZoneInfo(str(SHOP["time_zone"]))
MONTHS = 36

#: A part of the story: it says when it goes on, and goes on when that moment has come.
Script = Iterator[dt.datetime]
#: One that also gives the moment it ended.
Timed = Generator[dt.datetime, None, dt.datetime]


@dataclass
class Garage:
    """The demo garage: `now` is the moment the story ends; everything in it is found by the name the demo gives it."""

    now: dt.datetime
    people: dict[str, User] = field(default_factory=dict)
    items: dict[str, Item] = field(default_factory=dict)
    suppliers: dict[str, Supplier] = field(default_factory=dict)
    customers: dict[str, Customer] = field(default_factory=dict)
    vehicles: dict[str, Vehicle] = field(default_factory=dict)
    revisions: dict[str, ProcedureRevision] = field(default_factory=dict)
    components: dict[str, Component] = field(default_factory=dict)
    labor_rate: Decimal = Decimal("112.00")
    numbers: Iterator[int] = field(default_factory=count)

    @property
    def counter(self) -> User:
        """Who writes at the counter."""
        return self.people["counter"]

    def key(self) -> uuid.UUID:
        """The next key of the story: the same ones at every load."""
        return uuid.uuid5(uuid.NAMESPACE_URL, f"https://example.com/demo/{next(self.numbers)}")

    def day(self, days_ago: float) -> dt.date:
        """The working day so many days before the end, a weekend's moved to the Friday before it."""
        day = (self.now.astimezone(ZONE) - dt.timedelta(days=days_ago)).date()
        return day - dt.timedelta(days=max(0, day.weekday() - 4))

    def at(self, days_ago: float, hour: int, minute: int = 0) -> dt.datetime:
        """An hour of that working day, on the shop's clock."""
        return dt.datetime.combine(self.day(days_ago), dt.time(hour, minute), ZONE)

    @property
    def latest(self) -> dt.datetime:
        """The last moment at which the garage was at work: now, or half past four on the working day before."""
        local = self.now.astimezone(ZONE)
        if local.weekday() < 5 and dt.time(11, 30) <= local.time() <= dt.time(18, 30):
            return self.now
        return self.at(1 if local.time() < dt.time(11, 30) else 0, 16, 30)

    @property
    def opening(self) -> dt.datetime:
        """When the book began."""
        return self.at(MONTHS * 30.44, 6)


def at_time(moment: dt.datetime, time: dt.time) -> dt.datetime:
    """That time on the day of a moment, on the shop's clock."""
    return dt.datetime.combine(moment.astimezone(ZONE), time, ZONE)


def tell(scripts: Iterable[Script], until: dt.datetime) -> None:
    """Let all parts of the story go on in the order of time; what would come after `until` does not happen."""
    waiting: list[tuple[dt.datetime, int, Script]] = []
    for order, script in enumerate(scripts):
        _wait(waiting, order, script, until)
    while waiting:
        _, order, script = heapq.heappop(waiting)
        _wait(waiting, order, script, until)


def _wait(waiting: list[tuple[dt.datetime, int, Script]], order: int, script: Script, until: dt.datetime) -> None:
    moment = next(script, None)
    if moment is not None and moment <= until:
        heapq.heappush(waiting, (moment, order, script))
