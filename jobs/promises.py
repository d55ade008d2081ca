"""What the jobs promise of their data, for `books_check`: draws and movements, acts and steps, readings and limits."""

from collections.abc import Iterator

from django.db.models import Count, F, Q

from garage import promises
from jobs.models import Draw, DueService, JobStep, Operation, Reading, StepEvent
from jobs.readings import band_of
from parts.models import Movement
from parts.queries import ever_one


def draws_match_movements() -> Iterator[str]:
    """Each draw is a draw from the shelf, of its line's item or another number of it, for work that was authorized."""
    rows = Draw.objects.select_related("movement__item", "line__item", "line__operation__job", "step").iterator(
        chunk_size=2000
    )
    one = ever_one()
    for draw in rows:
        line, movement = draw.line, draw.movement
        where = f"{line.operation.job}, “{line}”: movement {movement.pk}"
        if movement.kind != Movement.Kind.DRAW:
            yield f"{where} is {movement.get_kind_display()}, not drawn"
        if line.item_id is None or one.get(movement.item_id, movement.item_id) != one.get(line.item_id, line.item_id):
            yield f"{where} is of {movement.item}, which is another item than the line's"
        if draw.step is not None and draw.step.operation_id != line.operation_id:
            yield f"{where} was drawn at a step of another operation"


def acts_match_steps() -> Iterator[str]:
    """A step counts as many acts as were applied to it, notes aside: none was lost, none counted twice."""
    counted = Q(events__result__outcome="applied") & ~Q(events__kind=StepEvent.Kind.NOTE)
    applied = Count("events", filter=counted)
    rows = JobStep.objects.annotate(applied=applied).exclude(version=F("applied"))
    for step in rows.select_related("operation__job"):
        yield (f"{step.operation.job}, step “{step}”: counts {step.version} acts, but {step.applied} were kept")


def readings_match_limits() -> Iterator[str]:
    """A reading's verdict is what its value and its limits say."""
    for reading in Reading.objects.select_related("step__operation__job").iterator(chunk_size=2000):
        if band_of(reading.value, reading.low, reading.high) != reading.verdict:
            yield f"{reading.step.operation.job}, step “{reading.step}”: {reading} is not “{reading.verdict}”"


def finished_work_is_done() -> Iterator[str]:
    """Finished work has no step that is open or to be confirmed again, unless it ended as not done."""
    left = Q(steps__state=JobStep.State.OPEN) | Q(steps__again=True)
    unfinished = Operation.objects.filter(left, finished_at__isnull=False, not_done=None)
    for operation in unfinished.select_related("job").distinct():
        yield f"{operation.job}, “{operation}”: finished with an open step"


def due_follows_the_interval() -> Iterator[str]:
    """A service is due at its last distance plus its interval."""
    wrong = DueService.objects.filter(odometer__isnull=False).exclude(odometer=F("last_odometer") + F("every_distance"))
    for due in wrong.select_related("vehicle", "procedure"):
        yield f"{due.vehicle}, {due}: {due.odometer} is not {due.every_distance} past {due.last_odometer}"


def register() -> None:
    """Add these checks to `books_check`."""
    promises.register("draws for jobs are movements of the shelf", draws_match_movements)
    promises.register("every act on a step is counted once", acts_match_steps)
    promises.register("readings agree with their limits", readings_match_limits)
    promises.register("finished work has no open step", finished_work_is_done)
    promises.register("services are due after their interval", due_follows_the_interval)
