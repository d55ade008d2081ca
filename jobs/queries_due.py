"""Services due and recommended work of vehicles, each with what is left of its limit by the odometer and the day."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q, QuerySet

from garage import late
from garage.models import OdometerReading, Vehicle
from garage.queries import carried, whole_distance
from jobs.intervals import months_later
from jobs.models import Advisory, DueService

Readings = dict[int, list[OdometerReading]]


@dataclass(frozen=True)
class Remaining:
    """How far something is from its limit: the figure today's odometer shows then, the distance left by the vehicle's
    last reading, and the days (below zero: past it)."""

    at: int | None
    left: int | None
    unit: str
    days: int | None

    @property
    def overdue(self) -> bool:
        """Past its distance or its day."""
        return bool(self.late)

    @property
    def late(self) -> str:
        """By how much it is past its limit: "6,554 mi over · 46 days overdue"; empty while it is not."""
        return " · ".join(filter(None, [late.distance_over(self.left, self.unit), late.days_overdue(self.days)]))

    @property
    def overdue_by(self) -> str:
        """The same within a sentence: "overdue by 6,554 mi and 46 days"."""
        return late.overdue_by(self.left, self.unit, self.days)

    @property
    def until(self) -> str:
        """How far off it is, by distance and by its day: "1,200 mi remaining · in 3 weeks"; empty when past."""
        if self.overdue:
            return ""
        distance = late.distance_left(self.left, self.unit) if self.left is not None else ""
        return " · ".join(filter(None, [distance, late.time_until(self.days) if self.days is not None else ""]))


@dataclass(frozen=True)
class DueRow(Remaining):
    """A service due. Its day may be foreseen from the mileage; `by_time` is the one that its interval sets."""

    due: DueService

    @property
    def by_time(self) -> dt.date | None:
        """The day its months have passed, whatever was driven."""
        months = self.due.every_months
        return months_later(self.due.last_on, months) if months else None

    @property
    def foreseen(self) -> bool:
        """Whether its day follows from how far the car usually goes, and is not read off the odometer."""
        return (
            self.due.on is not None and self.due.because == "distance" and not (self.left is not None and self.left < 0)
        )


@dataclass(frozen=True)
class Recommended(Remaining):
    """Recommended work."""

    advisory: Advisory


def due_rows(rows: QuerySet[DueService], today: dt.date) -> list[DueRow]:
    """Work out for each due service what is left; reads the vehicles' odometers in one go."""
    related = ("vehicle__owner__standing", "vehicle__standing__owner__standing", "component", "procedure")
    found = _newest_of_each(rows.select_related(*related))
    readings = readings_of_cars({due.vehicle.today.pk for due in found})
    return [
        DueRow(
            *_distance(readings.get(due.vehicle.today.pk, []), due.odometer, due.unit, due.last_on),
            _days(due.on, today),
            due,
        )
        for due in found
    ]


def recommended(rows: QuerySet[Advisory], today: dt.date) -> list[Recommended]:
    """The same for recommended work: past its limit is what was to be done by a distance or a day."""
    found = list(rows.select_related("vehicle__standing", "component"))
    by_distance, by_day = Advisory.Limit.DISTANCE, Advisory.Limit.DATE
    readings = readings_of_cars({row.vehicle.today.pk for row in found if row.limit == by_distance})
    return [
        Recommended(
            *_distance(
                readings.get(row.vehicle.today.pk, []),
                row.by_odometer if row.limit == by_distance else None,
                row.unit,
                row.at.date(),
            ),
            _days(row.by_date if row.limit == by_day else None, today),
            row,
        )
        for row in found
    ]


def all_rows_of(cars: Iterable[int]) -> QuerySet[Vehicle, int]:
    """The keys of those cars and of the rows that were merged into them: asked for apart, so that an index is used."""
    keys = set(cars)
    return Vehicle.objects.filter(Q(pk__in=keys) | Q(standing__in=keys)).order_by().values_list("pk", flat=True)


def readings_of_cars(cars: Iterable[int]) -> Readings:
    """The odometer readings that count, by the car they are of today, oldest first; asks nothing without a car."""
    keys = set(cars)
    if not keys:
        return {}
    readings: Readings = defaultdict(list)
    kept = OdometerReading.objects.filter(vehicle__in=all_rows_of(keys), disregarded=False)
    for row in kept.select_related("vehicle").order_by("on", "pk"):
        readings[row.vehicle.standing_id or row.vehicle_id].append(row)
    return readings


def passed(readings: list[OdometerReading], limit: int | None, unit: str, since: dt.date) -> bool:
    """Whether the last reading is past a limit that was set on a day."""
    left = _distance(readings, limit, unit, since)[1]
    return left is not None and left < 0


def _distance(
    readings: list[OdometerReading], limit: int | None, unit: str, since: dt.date
) -> tuple[int | None, int | None, str]:
    """What today's odometer shows at a limit set on a day, and what is left until then by the last reading."""
    if limit is None or not readings:
        return limit, None, unit
    at = carried(readings, limit, unit, since)
    return at, at - whole_distance(readings[-1].reading, readings[-1].unit, unit), unit


def _days(on: dt.date | None, today: dt.date) -> int | None:
    return (on - today).days if on else None


def _newest_of_each(rows: Iterable[DueService]) -> list[DueService]:
    """One row a car and service: of a car that was written down twice the one done last."""
    newest: dict[tuple[int, int, int], DueService] = {}
    for due in rows:
        service = (due.vehicle.today.pk, due.component_id, due.procedure_id)
        if service not in newest or newest[service].last_on < due.last_on:
            newest[service] = due
    return list(newest.values())
