"""What the bay reads: the technician's list, a job's steps, samples of a vehicle."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Count, Prefetch, Q, QuerySet

from garage.models import Vehicle
from jobs import stages
from jobs.consents import states_of
from jobs.models import (
    Advisory,
    Component,
    FluidSample,
    Job,
    JobStep,
    Line,
    Operation,
    ProcedureStep,
    Stage,
)
from jobs.readings import in_liters

DRAIN, FILL = ProcedureStep.Kind.DRAIN, ProcedureStep.Kind.FILL


@dataclass(frozen=True)
class BayJob:
    """A job with the work on it that may be done, and how many of its steps there are and are open."""

    job: Job
    operations: list[Operation]
    steps: int
    left: int

    @property
    def may_start(self) -> bool:
        """Whether the car may be taken into the bay: something is authorized, and nothing was begun."""
        return stages.may_start(
            self.job.stage,
            begun=any(row.started_at is not None for row in self.operations),
            left=any(row.finished_at is None for row in self.operations),
        )


def bay_list() -> list[BayJob]:
    """Jobs that a technician works on, may start, or waits for, each with its authorized work counted."""
    jobs = list(
        Job.objects.filter(stage__in=[Stage.IN_BAY, Stage.READY, Stage.AWAITING, Stage.WRITTEN_UP])
        .select_related("vehicle", "technician")
        .prefetch_related("operations")
        .order_by("promised_at", "pk")
    )
    states = states_of(jobs)
    work = {job.pk: [row for row in job.operations.all() if row.pk in states[job.pk].workable] for job in jobs}
    keys = [row.pk for rows in work.values() for row in rows]
    counted = steps_of(keys)
    return [
        BayJob(
            job,
            work[job.pk],
            steps=sum(counted[row.pk].all for row in work[job.pk]),
            left=sum(counted[row.pk].left for row in work[job.pk]),
        )
        for job in jobs
    ]


@dataclass(frozen=True)
class Steps:
    """How many steps an operation has, and how many of them are open or to be confirmed again."""

    all: int = 0
    left: int = 0


def steps_of(operations: Iterable[int]) -> dict[int, Steps]:
    """The steps of some operations counted, by the operation's key; one query."""
    rows = JobStep.objects.filter(operation__in=list(operations)).values("operation").order_by()
    counted: dict[int, Steps] = defaultdict(Steps)
    to_do = Q(operation__not_done=None) & (Q(state=JobStep.State.OPEN) | Q(again=True))
    for row in rows.annotate(all=Count("pk"), left=Count("pk", filter=to_do)):
        counted[row["operation"]] = Steps(row["all"], row["left"])
    return counted


def bay_jobs() -> QuerySet[Job]:
    """Jobs with everything their bay page shows, read once for all operations."""
    steps = (
        JobStep.objects.select_related(
            "written__need__item", "written__revision", "by", "sample__told_by", "follows", "confirmed_by"
        )
        .prefetch_related("readings", "photos__stored", "written__required")
        .order_by("position")
    )
    lines = Line.objects.filter(item__isnull=False).select_related("item")
    operations = Operation.objects.select_related(
        "revision__procedure", "component", "technician", "not_done__step", "not_done__by", "not_done__taken__by"
    ).prefetch_related(Prefetch("steps", steps), Prefetch("lines", lines))
    advisories = Advisory.objects.select_related("by", "stored")
    return Job.objects.select_related("vehicle", "technician", "odometer_in", "odometer_out").prefetch_related(
        Prefetch("operations", operations), Prefetch("advisories", advisories)
    )


def steps_to_work() -> QuerySet[JobStep]:
    """Steps read afresh for an act, with the other steps of their operation for what holds them."""
    steps = (
        JobStep.objects.select_related("written", "sample").prefetch_related("written__required").order_by("position")
    )
    return JobStep.objects.select_related(
        "operation__job__vehicle",
        "operation__job__odometer_in",
        "operation__component",
        "written__need__item",
        "written__revision",
        "by",
        "sample",
    ).prefetch_related("readings", Prefetch("operation__steps", steps.prefetch_related("written__required")))


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
    return rows.filter(vehicle__in=vehicle.same(), component=component) if vehicle and component else rows.none()
