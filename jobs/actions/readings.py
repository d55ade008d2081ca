"""Mending a mistyped odometer reading wherever it is not yet on an issued paper."""

import datetime as dt
from decimal import Decimal

from garage import audit
from garage.actions.vehicles import read_odometer
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.models import OdometerReading, User, Vehicle
from garage.queries import distances, whole_distance
from garage.writing import writing
from jobs import stages
from jobs.intervals import next_due
from jobs.models import DueService, Job

#: Once the paper is out the visit keeps the figure that the paper bears.
ON_PAPER = (stages.INVOICED, stages.CLOSED)


@writing()
def correct_reading(*, reading: OdometerReading, right: int, actor: User | None, clock: Clock) -> OdometerReading:
    """Put the right figure in the place of a mistyped reading; visits and services due follow it.

    The mistyped one stays in the list, marked, and issued papers keep what they say. Raises Refused when it was
    corrected already, when nothing changes, and where the right figure cannot be either.
    """
    now = clock()
    row = OdometerReading.objects.select_related("vehicle").get(pk=reading.pk)
    if row.disregarded:
        raise Refused("This reading was corrected already.")
    if right == row.reading:
        raise Refused("That is the reading already.", "reading")
    OdometerReading.objects.filter(pk=row.pk).update(disregarded=True)
    made = read_odometer(
        vehicle=row.vehicle,
        reading=right,
        unit=row.unit,
        on=row.on,
        condition=row.condition,
        actor=actor,
        clock=fixed(now),
    )
    OdometerReading.objects.filter(pk=row.pk).update(corrected_by=made)
    audit.record("corrected odometer", row.vehicle, actor=actor, now=now, reading=[str(row), str(made)])
    follow_corrections(row.vehicle, actor=actor, now=now)
    return made


def follow_corrections(vehicle: Vehicle, *, actor: User | None, now: dt.datetime) -> None:
    """Lead the visits and services due of a car from mistyped readings to the right ones; part of a verb."""
    jobs = Job.objects.filter(vehicle__in=vehicle.same()).exclude(stage__in=ON_PAPER)
    for name in ("odometer_in", "odometer_out"):
        wrong = {f"{name}__disregarded": True, f"{name}__corrected_by__isnull": False}
        for job in jobs.filter(**wrong).select_related(name):
            setattr(job, name, getattr(job, name).right)
            job.save(update_fields=[name])
    rows = DueService.objects.filter(vehicle__in=vehicle.same(), operation__job__vehicle__isnull=False)
    for due in rows.select_related("operation__job__odometer_out", "operation__revision", "vehicle"):
        read = due.operation.job.odometer_out
        if read is not None:
            _work_out(due, read.right, actor, now)


def _work_out(due: DueService, reading: OdometerReading, actor: User | None, now: dt.datetime) -> None:
    """Count a service due from the right figure; nothing when it was counted from that one."""
    odometer = whole_distance(reading.reading, reading.unit, due.unit)
    if odometer == due.last_odometer:
        return
    every = Decimal(due.every_distance) if due.every_distance else None
    found = next_due(
        due.last_on, Decimal(odometer), every, due.every_months, distances(due.vehicle, due.unit), due.last_on
    )
    due.last_odometer, due.on, due.because = odometer, found.on, found.because
    due.odometer = None if found.odometer is None else int(found.odometer)
    due.save(update_fields=["last_odometer", "on", "because", "odometer"])
    audit.record("set next service", due, actor=actor, now=now, on=due.on and due.on.isoformat(), odometer=due.odometer)
