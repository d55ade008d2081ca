"""Finishing the work on a job: nothing open, the odometer read, and the next services due worked out.

A service counts only when its substance was done (substance.py): one that was skipped keeps the due date it had, and
the recommended work it was to settle stays open.
"""

import datetime as dt
from decimal import Decimal

from django.db.models import Q
from django.db.models.functions import Coalesce

from garage import audit, shop
from garage.actions.vehicles import read_odometer
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.models import OdometerReading, User
from garage.queries import distances, whole_distance
from garage.writing import writing
from jobs import final_look, stages
from jobs.actions.intake import Odometer
from jobs.actions.readings import follow_corrections
from jobs.actions.stages import move
from jobs.consents import authorized
from jobs.held_words import confirm_again, why_held
from jobs.intervals import next_due
from jobs.models import Advisory, DueService, Job, JobStep, Operation, ProcedureRevision
from jobs.substance import Served, Worked, served
from parts.models import Kind


@writing()
def finish_job(*, job: Job, odometer_out: Odometer | None, actor: User | None, clock: Clock) -> Job:
    """Finish the work: the odometer is read, what was serviced gets its next due date, the job goes on.

    Raises Refused while an authorized operation has an open step, one to be confirmed again, or none at all and no
    word of what was done; while nobody took the final look at the work as it stands; and for an odometer that is
    missing or cannot be. A job that is finished already stays as it is; another odometer than it was finished with is
    refused, since it would be kept nowhere.
    """
    now = clock()
    job.refresh_from_db()
    if job.stage == stages.FINISHED:
        _refuse_another(job.odometer_out, odometer_out, job)
        return job
    if job.stage != stages.IN_BAY:
        raise Refused(f"{job} is {job.get_stage_display()}: only a job in the bay can be finished.")
    done = list(authorized(job).select_related("revision__procedure", "component").prefetch_related("steps__written"))
    for sentence in left_open(done):
        raise Refused(sentence)
    if final_look.standing(job, job.operations.prefetch_related("steps")) is None:
        raise Refused(f"Take the final look first: {final_look.looked_at()}.", "look")
    reading = _odometer(job, odometer_out, actor, now)
    if reading is not None:
        follow_corrections(reading.vehicle, actor=actor, now=now)
        job.refresh_from_db(fields=["odometer_in"])
    job.odometer_out, job.finished_at = reading, now
    job.save(update_fields=["odometer_out", "finished_at"])
    for operation in done:
        operation.finished_at = now
        operation.save(update_fields=["finished_at"])
        if reading is not None and service_of(operation).counts:
            _set_due(operation, reading, actor, now)
        else:
            _due_as_before(operation, actor, now)
    _settle_advisories(done)
    return move(job, stages.FINISHED, actor=actor, clock=fixed(now))


def left_open(operations: list[Operation]) -> list[str]:
    """What keeps a job from being finished, one sentence an operation."""
    sentences = []
    for operation in operations:
        if operation.not_done_id is not None:
            continue
        steps = list(operation.steps.all())
        open_steps = [step for step in steps if step.state == JobStep.State.OPEN]
        sentences += [f"{operation}: {why_held(step)}" for step in steps if step.stopped]
        if open_steps:
            count = "a step is" if len(open_steps) == 1 else f"{len(open_steps)} steps are"
            sentences.append(f"{operation}: {count} open, the first is “{open_steps[0]}”.")
        elif again := [step for step in steps if step.again]:
            sentences += [f"{operation}: {confirm_again(step)}" for step in again]
        elif not steps and not operation.correction.strip():
            sentences.append(f"{operation}: write what was done.")
    return sentences


def service_of(operation: Operation) -> Served:
    """Whether an operation counts as the service it is; a free step is its own substance, and nothing is one that
    ended as not done."""
    if operation.not_done_id is not None:
        return Served(counts=False, missing=(operation.title,))
    return served(
        Worked(str(step), step.written.substance if step.written else free, step.state == JobStep.State.DONE)
        for free in [operation.revision_id is None]
        for step in operation.steps.all()
    )


def not_counted(operations: list[Operation]) -> list[str]:
    """Which repeated services will not count as done since their substance was skipped, one sentence each."""
    sentences = []
    for operation in operations:
        steps = list(operation.steps.all())
        if not _repeats(operation):
            continue
        if operation.not_done_id is not None:
            sentences.append(f"{operation}: it ended as not done. When it is due next stays as it was.")
            continue
        if any(step.state == JobStep.State.OPEN for step in steps):
            continue
        missing = " and ".join(f"“{title}”" for title in service_of(operation).missing)
        if missing:
            sentences.append(f"{operation}: {missing} was skipped. When it is due next stays as it was.")
    return sentences


def _repeats(operation: Operation) -> bool:
    revision = operation.revision
    if revision is None or operation.component_id is None:
        return False
    return bool(revision.every_distance or revision.every_months)


def _settle_advisories(done: list[Operation]) -> None:
    """What was recommended is settled by work that was done; where its substance was skipped it is open again."""
    for operation in done:
        state = Advisory.State.OPEN if service_of(operation).missing else Advisory.State.SETTLED
        operation.advisories.filter(state=Advisory.State.OFFERED).update(state=state)


def _due_as_before(operation: Operation, actor: User | None, now: dt.datetime) -> None:
    """Take back a due date that this operation had set when it was finished before, and a step was skipped since.

    It is counted from the service before it, or nothing is due.
    """
    for due in DueService.objects.filter(operation=operation).select_related("vehicle"):
        earlier = (
            Operation.objects.filter(
                job__vehicle__in=due.vehicle.same(),
                component_id=due.component_id,
                revision__procedure_id=due.procedure_id,
                finished_at__isnull=False,
                job__odometer_out__isnull=False,
            )
            .exclude(pk=operation.pk)
            .select_related("revision__procedure", "component", "job__odometer_out__vehicle")
            .prefetch_related("steps__written")
            .order_by("-finished_at")
        )
        last = next((row for row in earlier if service_of(row).counts), None)
        due.delete()
        if last is not None and last.job.odometer_out is not None:
            _set_due(last, last.job.odometer_out, actor, now)


def _odometer(job: Job, out: Odometer | None, actor: User | None, now: dt.datetime) -> OdometerReading | None:
    if job.vehicle is None:
        return None
    if out is None:
        raise Refused(
            "Record the odometer: it is printed on the invoice, and the next service is counted from it.", "reading"
        )
    return read_odometer(
        vehicle=job.vehicle,
        reading=out.reading,
        unit=out.unit,
        on=shop.day_of(now),
        lower_reason=out.lower_reason,
        before=out.before,
        actor=actor,
        clock=fixed(now),
    )


def _refuse_another(kept: OdometerReading | None, typed: Odometer | None, job: Job) -> None:
    """Refuse what was read a second time, on another tablet, where it differs from what the job was finished with."""
    if kept is None or typed is None or (typed.reading, typed.unit) == (kept.reading, kept.unit):
        return
    raise Refused(
        f"{job} was finished meanwhile with {kept}; this changes nothing. Read the odometer again: if {kept} was "
        "mistyped, correct it on the vehicle’s odometer page.",
        "reading",
    )


def _set_due(operation: Operation, reading: OdometerReading, actor: User | None, now: dt.datetime) -> None:
    """Work out when the operation's procedure is due again; nothing when it has no interval."""
    revision, component = operation.revision, operation.component
    if revision is None or component is None or not _repeats(operation):
        return
    unit, vehicle = revision.distance_unit, reading.vehicle.today
    odometer = whole_distance(reading.reading, reading.unit, unit)
    due = next_due(
        reading.on,
        Decimal(odometer),
        Decimal(revision.every_distance) if revision.every_distance else None,
        revision.every_months,
        distances(vehicle, unit),
        reading.on,
    )
    before = DueService.objects.filter(vehicle__in=vehicle.same(), component=component, procedure=revision.procedure)
    before.exclude(vehicle=vehicle).delete()
    row, _ = DueService.objects.update_or_create(
        vehicle=vehicle,
        component=component,
        procedure=revision.procedure,
        defaults={
            "operation": operation,
            "last_on": reading.on,
            "last_odometer": odometer,
            "every_distance": revision.every_distance,
            "every_months": revision.every_months,
            "unit": unit,
            "on": due.on,
            "odometer": None if due.odometer is None else int(due.odometer),
            "because": due.because,
        },
    )
    _replace_due(row, revision)
    audit.record("set next service", row, actor=actor, now=now, on=due.on and due.on.isoformat(), odometer=row.odometer)


def _replace_due(due: DueService, revision: ProcedureRevision) -> None:
    """Drop what was due on the same component by another procedure that would have renewed the same fluid."""
    fluids = list(
        revision.needs.filter(item__kind=Kind.FLUID).values_list(Coalesce("item__current", "item"), flat=True)
    )
    others = DueService.objects.filter(vehicle__in=due.vehicle.same(), component=due.component).exclude(pk=due.pk)
    same = Q(procedure__current__needs__item__in=fluids) | Q(procedure__current__needs__item__current__in=fluids)
    others.filter(same).delete()
