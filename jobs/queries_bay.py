"""What the bay reads: the technician's list, a job's steps, samples and advisories of a vehicle, services due."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Count, Prefetch, Q, QuerySet

from garage.models import Vehicle
from garage.queries import carried, whole_distance
from jobs.models import (
    Advisory,
    Component,
    DueService,
    FluidSample,
    Job,
    JobStep,
    Line,
    Operation,
    ProcedureStep,
    Stage,
)
from jobs.readings import in_liters

AUTHORIZED = Operation.Decision.AUTHORIZED
DRAIN, FILL = ProcedureStep.Kind.DRAIN, ProcedureStep.Kind.FILL


def for_bay() -> QuerySet[Job]:
    """Jobs that a technician works on, may start, or waits for, each with its authorized work counted."""
    authorized = Q(operations__decision=AUTHORIZED)
    steps = Q(operations__steps__isnull=False) & authorized
    return (
        Job.objects.filter(stage__in=[Stage.IN_BAY, Stage.READY, Stage.AWAITING, Stage.WRITTEN_UP])
        .select_related("vehicle", "technician")
        .prefetch_related(Prefetch("operations", Operation.objects.filter(decision=AUTHORIZED)))
        .annotate(
            steps_in_all=Count("operations__steps", filter=steps, distinct=True),
            steps_left=Count("operations__steps", filter=steps & Q(operations__steps__state="open"), distinct=True),
        )
        .order_by("promised_at", "pk")
    )


def bay_jobs() -> QuerySet[Job]:
    """Jobs with everything their bay page shows, read once for all operations."""
    steps = (
        JobStep.objects.select_related("written__need__item", "by", "sample", "follows")
        .prefetch_related("readings", "photos__stored")
        .order_by("position")
    )
    lines = Line.objects.filter(item__isnull=False).select_related("item")
    operations = Operation.objects.select_related("revision__procedure", "component", "technician").prefetch_related(
        Prefetch("steps", steps), Prefetch("lines", lines)
    )
    advisories = Advisory.objects.select_related("by", "stored")
    return Job.objects.select_related("vehicle", "technician", "odometer_in", "odometer_out").prefetch_related(
        Prefetch("operations", operations), Prefetch("advisories", advisories)
    )


def steps_to_work() -> QuerySet[JobStep]:
    """Steps read afresh for an act, with the other steps of their operation for the hold points."""
    return JobStep.objects.select_related(
        "operation__job__vehicle", "operation__job__odometer_in", "operation__component", "written__need__item", "by"
    ).prefetch_related(
        "readings", Prefetch("operation__steps", JobStep.objects.select_related("written").order_by("position"))
    )


def drained_before(step: JobStep) -> Decimal | None:
    """Liters that came out at the drain steps since the filling before this step; None when nothing was measured."""
    rows = step.operation.steps.select_related("written").prefetch_related("readings")
    return drained_among(rows.filter(position__lt=step.position).order_by("position"))


def drained_among(earlier: Iterable[JobStep]) -> Decimal | None:
    """The same from the earlier steps of an operation, in order, with their readings at hand."""
    drained: Decimal | None = None
    for row in earlier:
        kind = row.written.kind if row.written else ""
        if kind == FILL and row.state == JobStep.State.DONE:
            drained = None
        elif kind == DRAIN:
            for reading in row.readings.all():
                drained = (drained or Decimal(0)) + in_liters(reading.value, reading.unit)
    return drained


def samples_of(vehicle: Vehicle | None, component: Component | None) -> QuerySet[FluidSample]:
    """What was seen of a component's fluid over the years, the last time first."""
    rows = FluidSample.objects.select_related("by", "operation__job")
    return rows.filter(vehicle=vehicle, component=component) if vehicle and component else rows.none()


@dataclass(frozen=True)
class DueRow:
    """A service due: the figure today's odometer shows then, the distance left by the vehicle's last reading (below
    zero: overdue), and how many days."""

    due: DueService
    at: int | None
    left: int | None
    days: int | None

    @property
    def overdue(self) -> bool:
        """Past its distance or its day."""
        return (self.left is not None and self.left < 0) or (self.days is not None and self.days < 0)


def due_rows(rows: QuerySet[DueService], today: dt.date) -> list[DueRow]:
    """Work out for each due service what is left; reads the vehicles' odometers in one go."""
    found = rows.select_related("vehicle__owner", "component", "procedure").prefetch_related("vehicle__readings")
    return [_due_row(due, today) for due in found]


def _due_row(due: DueService, today: dt.date) -> DueRow:
    days = (due.on - today).days if due.on else None
    readings = [row for row in due.vehicle.readings.all() if not row.disregarded]
    readings.sort(key=lambda row: (row.on, row.pk))
    if due.odometer is None or not readings:
        return DueRow(due, due.odometer, None, days)
    at = carried(readings, due.odometer, due.unit, due.last_on)
    return DueRow(due, at, at - whole_distance(readings[-1].reading, readings[-1].unit, due.unit), days)
