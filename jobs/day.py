"""How far the jobs of a day are: steps done of those that may be worked on, and the hours of labor still to be done."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import QuerySet, Sum

from jobs.consent import DECLINED, Consent
from jobs.consents import states_of
from jobs.models import Job, Line, LineKind, Operation
from jobs.queries_bay import Steps, steps_of

ZERO = Decimal(0)


@dataclass(frozen=True)
class Progress:
    """The steps of a job that are done, all that may be worked on, and the hours of labor left."""

    done: int
    steps: int
    hours: Decimal


def with_work(jobs: QuerySet[Job]) -> QuerySet[Job]:
    """Jobs of a day's list with what their rows show: how to reach the customer, and the work that is on them."""
    return jobs.select_related("customer__standing").prefetch_related("operations")


def progress_of(jobs: Iterable[Job]) -> dict[int, Progress]:
    """How far each of these jobs (as `with_work` gives them) is; a fixed number of queries for all of them."""
    jobs = list(jobs)
    states = states_of(jobs)
    work = {row.pk: row for job in jobs for row in job.operations.all() if row.finished_at is None}
    lines = Line.objects.filter(operation__in=work, kind=LineKind.LABOR).values("operation").order_by()
    hours = dict(lines.annotate(hours=Sum("base_quantity")).values_list("operation", "hours"))
    counted = steps_of(row.pk for job in jobs for row in job.operations.all())
    return {job.pk: _progress(list(job.operations.all()), states[job.pk], counted, hours) for job in jobs}


def _progress(
    operations: list[Operation], consent: Consent, counted: Mapping[int, Steps], hours: Mapping[int, Decimal]
) -> Progress:
    workable = [counted[row.pk] for row in operations if row.pk in consent.workable]
    wanted = [row for row in operations if row.finished_at is None and consent.of(row.pk).state != DECLINED]
    steps = sum(row.all for row in workable)
    return Progress(
        done=steps - sum(row.left for row in workable),
        steps=steps,
        hours=sum((hours_left(hours.get(row.pk, ZERO), counted[row.pk]) for row in wanted), ZERO),
    )


def hours_left(hours: Decimal, steps: Steps) -> Decimal:
    """The share of an operation's hours that its open steps are of all its steps; all of them where it has none."""
    return hours * steps.left / steps.all if steps.all else hours
