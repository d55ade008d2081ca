"""Whom to call about services due: one row a car, with all that is due on it, the most pressing first."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Exists, Max, OuterRef, Q, QuerySet
from django.db.models.functions import Coalesce

from garage import search
from garage.models import Customer, OdometerReading, Vehicle
from jobs import stages
from jobs.models import DueService, Job, Stage
from jobs.queries_due import DueRow, all_rows_of, due_rows, passed, readings_of_cars

#: For a service that no day is known of: after all others.
SOMETIME = dt.date.max
#: What is named of a car that is called about, however near the list itself looks.
NAMED_DAYS = 90
CAR = Coalesce("vehicle__standing", "vehicle")

#: A car by the day on which the first of its services is due: its place in the list.
Place = tuple[dt.date, int]


@dataclass(frozen=True)
class Call:
    """A car with something due: who is called about it, what is due, the last visit, and the one that is on."""

    vehicle: Vehicle
    owner: Customer | None
    services: list[DueRow] = field(default_factory=list)
    last_visit: dt.datetime | None = None
    here: int | None = None


def cars_due(today: dt.date, *, until: dt.date | None, component: int | None, text: str) -> list[Place]:
    """Day and car of each car with something due until a day (None: whenever), the first due first.

    A service is due on its day; once the odometer has passed its distance it was due yesterday at the latest. Few
    columns of every service are read, and the readings of those cars alone that may have passed one early: three
    queries however many there are.
    """
    rows = _narrowed(DueService.objects.annotate(car=CAR), component, text).order_by("last_on", "pk")
    services = {
        (car, part, procedure): (on, limit)
        for car, part, procedure, on, *limit in rows.values_list(
            "car", "component", "procedure", "on", "odometer", "unit", "last_on"
        )
    }  # of a car that was written down twice the one done last
    read = readings_of_cars(list(_driven_far(rows, today).values_list("car", flat=True)))
    first: dict[int, dt.date] = {}
    for (car, _part, _procedure), (on, limit) in services.items():
        day = on or SOMETIME
        if day > today and passed(read.get(car, []), *limit):
            day = today - dt.timedelta(1)
        first[car] = min(day, first.get(car, SOMETIME))
    return sorted((day, car) for car, day in first.items() if until is None or day <= until)


def _driven_far(rows: QuerySet[Any], today: dt.date) -> QuerySet[Any]:
    """The services whose distance may be passed before their day: more was read, in another unit, on another odometer,
    or on a car that was written down twice."""
    readings = OdometerReading.objects.filter(vehicle=OuterRef("vehicle"), disregarded=False).order_by()
    more = Q(reading__gt=OuterRef("odometer")) | ~Q(unit=OuterRef("unit")) | Q(before__isnull=False)
    twice = Vehicle.objects.filter(standing=OuterRef("vehicle")).order_by()
    waiting = rows.filter(Q(on=None) | Q(on__gt=today), odometer__isnull=False)
    return waiting.filter(Exists(readings.filter(more)) | Exists(twice) | Q(vehicle__standing__isnull=False))


def _narrowed(rows: QuerySet[Any], component: int | None, text: str) -> QuerySet[Any]:
    """Those of a component, and of the cars and customers that the typed text finds."""
    rows = rows.filter(component=component) if component else rows
    if not text:
        return rows
    people = search.keys_of("customer", text)
    owned = Vehicle.objects.filter(Q(owner__in=people) | Q(owner__standing__in=people))
    return rows.filter(Q(car__in=search.keys_of("vehicle", text)) | Q(car__in=owned.values("pk")))


def calls(cars: Iterable[int], today: dt.date, *, until: dt.date | None) -> list[Call]:
    """Those cars in their order, each with what is due until then, or within the days that are always named."""
    keys = list(cars)
    named = max(until, today + dt.timedelta(NAMED_DAYS)) if until is not None else None
    services: dict[int, list[DueRow]] = {}
    vehicles: dict[int, Vehicle] = {}
    for row in due_rows(DueService.objects.filter(vehicle__in=all_rows_of(keys)), today):
        vehicle = vehicles.setdefault(row.due.vehicle.today.pk, row.due.vehicle.today)
        if row.overdue or named is None or (row.due.on is not None and row.due.on <= named):
            services.setdefault(vehicle.pk, []).append(row)
    owners = Customer.objects.prefetch_related("phones").in_bulk(
        {vehicle.owner.today.pk for vehicle in vehicles.values() if vehicle.owner is not None}
    )
    visits = _visits(keys)
    return [
        Call(
            vehicles[key],
            owners.get(owner.today.pk) if (owner := vehicles[key].owner) is not None else None,
            sorted(services.get(key, []), key=_pressing),
            *visits.get(key, (None, None)),
        )
        for key in keys
        if key in vehicles
    ]


def _pressing(row: DueRow) -> tuple[bool, dt.date, int]:
    return not row.overdue, row.due.on or SOMETIME, row.due.pk


def _visits(keys: list[int]) -> dict[int, tuple[dt.datetime, int | None]]:
    """When each of those cars was last here, and the visit that is still going on."""
    rows = Job.objects.filter(vehicle__in=all_rows_of(keys)).exclude(stage=Stage.CANCELED)
    on = Max("pk", filter=Q(stage__in=stages.UNFINISHED))
    found = rows.order_by().annotate(car=CAR).values("car").annotate(last=Max("received_at"), on=on)
    return {row["car"]: (row["last"], row["on"]) for row in found}
