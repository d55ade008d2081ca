"""Ending an operation as not done, reopening it, and the customer's word that they take the car as it is."""

import datetime as dt

from garage import audit
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.models import User
from garage.texts import fitting, shortened
from garage.writing import writing
from jobs import not_done, stages
from jobs.actions.evidence import Limit, note_advisory, settle_advisory
from jobs.actions.writing_up import counted
from jobs.models import Advisory, CarTaken, Job, JobStep, NotDone, Operation

#: What a recommendation may hold, and what of it is for the operation's title.
NOTICED, TITLE = 200, 60


@writing()
def end_as_not_done(*, step: JobStep, why: str, actor: User | None, clock: Clock) -> NotDone:
    """End a step's operation as not done, and recommend on its car that it is done before driving.

    What stands open on it is no longer asked for, it counts as no service, and nothing of it is billed unless the
    counter says so. Called by the act on the step, which asks whether work may be done at all. Refused without a
    reason, or with one that has no room in the recommendation, and for what ended so already.
    """
    now = clock()
    operation = Operation.objects.select_related("job__vehicle", "component").get(pk=step.operation_id)
    if operation.not_done_id is not None:
        raise Refused(f"“{operation}” has ended as not done.")
    if not why.strip():
        raise Refused("Write why it can’t be done.", "reason")
    text = f"{shortened(operation.title, TITLE)} was not done: "
    why = fitting(why, NOTICED - len(text), "reason")
    row = NotDone.objects.create(
        operation=operation,
        step=step,
        why=why,
        at=now,
        by=actor,
        advisory=_recommended(operation, text + why, actor, now),
    )
    operation.not_done, operation.started_at = row, operation.started_at or now
    operation.technician = operation.technician or actor
    operation.save(update_fields=["not_done", "started_at", "technician"])
    audit.record("ended as not done", operation, actor=actor, now=now, step=step.pk, why=why)
    return row


def _recommended(operation: Operation, text: str, actor: User | None, now: dt.datetime) -> Advisory | None:
    """The work that is to be done before the car is driven; none for a job without a car."""
    if operation.job.vehicle is None:
        return None
    return note_advisory(
        job=operation.job,
        text=text,
        limit=Limit(Advisory.Limit.DRIVING),
        component=operation.component,
        actor=actor,
        clock=fixed(now),
    )


@writing()
def reopen_not_done(*, operation: Operation, reason: str, actor: User | None, clock: Clock) -> Operation:
    """Take work up again that ended as not done, while its car is in the bay; its recommendation is dismissed.

    One that is open already stays as it is. Refused without a reason, and once the job is finished.
    """
    now = clock()
    operation = Operation.objects.select_related("job", "not_done__advisory").get(pk=operation.pk)
    row = operation.not_done
    if row is None:
        return operation
    if not stages.under_way(operation.job.stage, operation.started_at is not None):
        raise Refused(f"{operation.job} is {operation.job.get_stage_display()}: its work is no longer reopened.")
    if not reason.strip():
        raise Refused("Write why it is reopened.", "reason")
    row.undone_at, row.undone_by, row.undone_why = now, actor, fitting(reason, 200, "reason")
    row.save(update_fields=["undone_at", "undone_by", "undone_why"])
    operation.not_done = None
    operation.finished_at = None  # it may have been finished as not done: now it is to be finished again
    operation.save(update_fields=["not_done", "finished_at"])
    if row.advisory is not None and row.advisory.state == Advisory.State.OPEN:
        settle_advisory(advisory=row.advisory, state=Advisory.State.DECLINED, actor=actor, clock=fixed(now))
    audit.record("reopened what was not done", operation, actor=actor, now=now, reason=row.undone_why)
    return operation


@writing()
def take_car(
    *, job: Job, who: str, how: str, said_at: dt.datetime | None, words: str, actor: User | None, clock: Clock
) -> CarTaken:
    """Record the customer's word that they take the car although work on it was not done.

    It stands for all such work that has none yet. Refused, naming the field, for what is missing or in the future,
    and where nothing is asked.
    """
    now = clock()
    job.refresh_from_db(fields=["stage"])
    rows = not_done.without_a_word(not_done.of_job(job))
    if job.stage not in stages.OPEN or not rows:
        raise Refused(f"{job} has no work that was not done and still needs the customer’s word.")
    if not who.strip():
        raise Refused("Write who said it.", "who")
    if how not in CarTaken.How.values:
        raise Refused("Choose how it was said.", "how")
    if said_at is None:
        raise Refused("Write when it was said.", "said_at")
    if said_at > now:
        raise Refused("That is in the future.", "said_at")
    if not words.strip():
        raise Refused("Write it in their words.", "words")
    word = CarTaken.objects.create(
        job=job, who=fitting(who, 80, "who"), how=how, said_at=said_at, words=words.strip(), at=now, by=actor
    )
    NotDone.objects.filter(pk__in=[row.pk for row in rows]).update(taken=word)
    works = [row.operation_id for row in rows]
    audit.record("recorded the customer’s word", job, actor=actor, now=now, how=how, operations=works)
    counted(job, actor, now)
    return word
