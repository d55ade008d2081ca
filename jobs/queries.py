"""Reads of jobs that are used twice or need a join: lists, one sheet with everything on it, what blocks it."""

from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from django.db.models import Prefetch, Q, QuerySet

from garage.cuts import Cut
from garage.models import Customer, User, Vehicle
from garage.pressing import Act
from jobs import stages
from jobs.consent import DECLINED
from jobs.consents import states_of
from jobs.matching import best_match
from jobs.models import Advisory, Draw, DueService, Finer, Job, JobStep, Line, Operation, Procedure, Stage
from jobs.next_act import next_act
from jobs.queries_procedures import library
from parts.models import Movement


@dataclass(frozen=True)
class Used:
    """What was really drawn for a line, returns taken off: in the item's base unit, and at what it cost.

    `items` says how much of it was of which number of the item's chain; of what came back wholly nothing.
    """

    quantity: Decimal
    cost: Decimal
    items: Mapping[int, Decimal] = field(default_factory=dict)

    def less(self, movement: Movement) -> "Used":
        """The same after one more movement of the stock for it."""
        of_it = self.items.get(movement.item_id, Decimal(0)) - movement.quantity
        items = {key: much for key, much in {**self.items, movement.item_id: of_it}.items() if much}
        return Used(self.quantity - movement.quantity, self.cost - movement.value, items)


NOTHING = Used(Decimal(0), Decimal(0))


def jobs() -> QuerySet[Job]:
    """Jobs with what every list of them shows."""
    return Job.objects.select_related("customer", "vehicle", "odometer_in")


def open_jobs() -> QuerySet[Job]:
    """The jobs that somebody still has on their hands."""
    return jobs().filter(stage__in=stages.OPEN)


def here_now(vehicle: Vehicle) -> Job | None:
    """The visit whose work on this vehicle is still to be done, when the car is here."""
    return Job.objects.filter(vehicle__in=vehicle.same(), stage__in=stages.UNFINISHED).first()


def jobs_of(subject: Customer | Vehicle) -> QuerySet[Job]:
    """Every visit of a customer or a vehicle, newest first, with all that was written up."""
    by = {"customer__in" if isinstance(subject, Customer) else "vehicle__in": subject.same()}
    return jobs().filter(**by).prefetch_related("operations").order_by("-pk")


@dataclass(frozen=True)
class Visit:
    """A visit and its work, declined work left out; in a list also what its reader does next with it."""

    job: Job
    work: list[Operation]
    act: Act | None = None


def visits(found: Iterable[Job], reader: User | None = None) -> list[Visit]:
    """Some jobs of `jobs_of`, each with the work that was not declined, and what `reader` does next with it."""
    rows = list(found)
    states = states_of(rows)
    work = {
        job.pk: [row for row in job.operations.all() if states[job.pk].of(row.pk).state != DECLINED] for job in rows
    }
    return [Visit(job, work[job.pk], next_act(job, reader) if reader else None) for job in rows]


def sheets() -> QuerySet[Job]:
    """Jobs with everything that stands on the sheet: operations with their lines and items, customer, photos."""
    lines = Line.objects.select_related("item__current", "need")
    steps = JobStep.objects.select_related("confirmed_by", "sample__told_by")
    operations = Operation.objects.select_related(
        "revision__procedure", "component", "technician", "not_done__step", "not_done__by", "not_done__taken__by"
    ).prefetch_related(Prefetch("lines", lines), Prefetch("steps", steps))
    return (
        jobs()
        .select_related("odometer_out", "technician", "comeback_of", "created_by")
        .prefetch_related(Prefetch("operations", operations), "customer__phones", "customer__emails", "photos__stored")
    )


def write_offs(job: Job) -> QuerySet[Line]:
    """What was written off on a job because nobody authorized it: one line an operation and tax class."""
    return Line.objects.filter(operation__job=job, finer=Finer.WRITE_OFF).select_related("operation")


def visits_before(job: Job) -> QuerySet[Job]:
    """The earlier visits of the same vehicle, newest first."""
    if job.vehicle_id is None:
        return Job.objects.none()
    assert job.vehicle is not None
    earlier = jobs_of(job.vehicle).filter(pk__lt=job.pk)
    return earlier.exclude(stage=Stage.CANCELED).prefetch_related("operations__samples__component")


def open_advisories(vehicle: Vehicle | None) -> QuerySet[Advisory]:
    """What was noticed on a vehicle and neither done, declined nor put on a job yet."""
    rows = Advisory.objects.select_related("component", "job")
    return rows.filter(vehicle__in=vehicle.same(), state=Advisory.State.OPEN) if vehicle else rows.none()


def due_services(vehicle: Vehicle | None) -> QuerySet[DueService]:
    """When which component of a vehicle is due next, the most urgent first."""
    rows = DueService.objects.select_related("component", "procedure__current")
    return rows.filter(vehicle__in=vehicle.same()) if vehicle else rows.none()


@dataclass(frozen=True)
class Offered:
    """A procedure that can be put on a job, and whether it was written for a car like this one."""

    procedure: Procedure
    fits: bool


def procedures_for(vehicle: Vehicle | None, text: str = "", *, limit: int = 40) -> Cut[Offered]:
    """The published procedures that the typed words find, the best match for the vehicle first."""
    scored = [(best_match(row.applies_to.all(), vehicle) if vehicle else None, row) for row in library(text)]
    scored.sort(key=lambda pair: -1 if pair[0] is None else pair[0], reverse=True)
    return Cut.of([Offered(row, score is not None) for score, row in scored], limit)


def used(lines: Iterable[Line]) -> dict[int, Used]:
    """What was drawn for each line, by its primary key: draws less what was undone or brought back."""
    draws = dict(Draw.objects.filter(line__in=list(lines)).values_list("movement_id", "line_id"))
    if not draws:
        return {}
    ids = list(draws)
    movements = Movement.objects.select_related("reverses").filter(
        Q(pk__in=ids) | Q(reverses__in=ids) | Q(returns__in=ids) | Q(reverses__returns__in=ids)
    )
    sums: dict[int, Used] = {}
    for movement in movements:
        line = draws[_draw_behind(movement, draws)]
        sums[line] = sums.get(line, NOTHING).less(movement)
    return sums


def used_on(line: Line) -> Used:
    """What was drawn for one line."""
    return used([line]).get(line.pk, NOTHING)


def _draw_behind(movement: Movement, draws: Container[int]) -> int:
    """The draw that a movement is, undoes, brings back from, or undoes the bringing back of."""
    undone = movement.reverses
    behind = [movement.pk, movement.reverses_id, movement.returns_id, undone.returns_id if undone else None]
    return next(pk for pk in behind if pk is not None and pk in draws)
