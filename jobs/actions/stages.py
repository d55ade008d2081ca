"""Moving a job from stage to stage, as its customer's consent allows."""

from django.db.models import F

from garage import audit
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.models import User
from garage.texts import fitting
from garage.writing import writing
from jobs import consents, not_done, objections, queries, stages
from jobs.consent import AUTHORIZED, DECLINED
from jobs.models import Job, JobStep, Line, Operation, StageChange


@writing()
def move(job: Job, stage: str, *, waits_for: str = "", note: str = "", actor: User | None, clock: Clock) -> Job:
    """Bring a job to `stage`; `waits_for` says who or what it waits for there.

    Raises Refused when the state table knows no such way. At the stage where it already stands a job only learns
    whom it waits for.
    """
    now = clock()
    job.refresh_from_db(fields=["stage", "stage_since", "waits_for"])
    if job.stage == stage and job.waits_for == waits_for:
        return job
    if job.stage != stage:
        if not stages.may_follow(job.stage, stage):
            raise Refused(
                f"{job} is {job.get_stage_display()}: it cannot become {Job(stage=stage).get_stage_display()}."
            )
        job.stage, job.stage_since = stage, now
        StageChange.objects.create(job=job, stage=stage, note=fitting(note, 200, "reason"), at=now, by=actor)
    job.waits_for = fitting(waits_for, 200, "reason")
    job.save(update_fields=["stage", "stage_since", "waits_for"])
    audit.record("moved", job, actor=actor, now=now, stage=stage, waits_for=waits_for, note=note)
    return job


@writing()
def start_job(*, job: Job, technician: User | None = None, actor: User | None, clock: Clock) -> Job:
    """Put the car into the bay with a technician; Refused while nothing is authorized (no work before that).

    What is not decided yet does not keep back what is: its own steps stay closed.
    """
    now = clock()
    if not consents.consent_of(job).workable:
        raise Refused(f"Nothing on {job} is authorized yet: work may not begin.")
    move(job, stages.IN_BAY, waits_for=str(technician or ""), actor=actor, clock=fixed(now))
    Job.objects.filter(pk=job.pk).update(technician=technician)
    job.technician = technician
    return job


@writing()
def cancel_job(*, job: Job, reason: str, actor: User | None, clock: Clock) -> Job:
    """Call the visit off, with the reason; what was written stays.

    Refused once anything was drawn for it, and while the customer's word is missing that they take the car although
    work on it was not done.
    """
    now = clock()
    if not reason.strip():
        raise Refused("Write why the job is canceled.", "reason")
    for sentence in (*objections.to_canceling(job), *not_done.missing_words(job)):
        raise Refused(sentence)
    drawn = queries.used(Line.objects.filter(operation__job=job))
    if any(used.quantity > 0 for used in drawn.values()):
        raise Refused("Something was taken from the shelf for this job: return it to the shelf first.")
    return move(job, stages.CANCELED, waits_for=reason.strip(), note=reason.strip(), actor=actor, clock=fixed(now))


@writing()
def reopen_job(*, job: Job, actor: User | None, clock: Clock) -> Job:
    """Take a canceled visit up again; what was authorized then still is. Refused for any other."""
    now = clock()
    job.refresh_from_db(fields=["stage"])
    if job.stage != stages.CANCELED:
        raise Refused(f"{job} is {job.get_stage_display()}, not canceled.")
    move(job, stages.WRITTEN_UP, actor=actor, clock=fixed(now))
    settle(job, actor=actor, clock=fixed(now))
    return job


@writing()
def offer_again(*, operation: Operation, actor: User | None, clock: Clock) -> Operation:
    """Offer declined work again, when its customer calls back: it is undecided until they are asked anew.

    So is an addition that they declined. Raises Refused for anything else. What was said stays on record.
    """
    now = clock()
    operation.refresh_from_db()
    job = operation.job
    if job.stage not in stages.OPEN:
        raise Refused(f"{job} is {job.get_stage_display()}: nothing on it can be offered any more.")
    consent = consents.consent_of(job)
    standing = consent.of(operation.pk)
    if standing.state != DECLINED and standing.refused is None:
        raise Refused(f"“{operation}” was not declined: it needs no second offer.")
    operation.offered_again_after = consent.seq
    operation.save(update_fields=["offered_again_after"])
    Job.objects.filter(pk=job.pk).update(version=F("version") + 1)
    audit.record("offered again", operation, actor=actor, now=now, after=consent.seq)
    settle(job, actor=actor, clock=fixed(now))
    return operation


@writing()
def settle(job: Job, *, actor: User | None, clock: Clock) -> None:
    """Bring a job before or in the bay to the stage that its customer's consent gives it.

    Work still to be decided keeps nothing back that is authorized.
    """
    now = clock()
    job.refresh_from_db(fields=["stage", "waits_for"])
    if job.stage not in (stages.WRITTEN_UP, stages.AWAITING, stages.READY):
        return
    operations = list(consents.written([job.pk]))
    consent = consents.consent_of(job, operations)
    authorized = [operation for operation in operations if operation.pk in consent.workable]
    if authorized and (job.stage != stages.AWAITING or not consent.asks):
        stage = _stage_after_the_answer(job, authorized)
        with_whom = str(job.technician or "") if stage == stages.IN_BAY else ""
        move(job, stage, waits_for=with_whom, actor=actor, clock=fixed(now))
    elif not authorized and consent.asks and job.stage != stages.AWAITING:
        move(job, stages.WRITTEN_UP, actor=actor, clock=fixed(now))
    elif operations and not consent.all_in(AUTHORIZED) and not consent.asks:
        move(job, stages.WRITTEN_UP, waits_for="collection, all work declined", actor=actor, clock=fixed(now))


def _stage_after_the_answer(job: Job, authorized: list[Operation]) -> str:
    """Where a job goes on once its customer has answered: where it stood when they had to be asked."""
    last = job.stage_changes.filter(stage__in=[stages.READY, stages.IN_BAY, stages.FINISHED]).last()
    if job.stage != stages.AWAITING or last is None or last.stage == stages.READY:
        return stages.READY
    done = all(operation.finished_at for operation in authorized) and not JobStep.objects.filter(
        operation__in=[operation for operation in authorized if operation.not_done_id is None],
        state=JobStep.State.OPEN,
    )
    return stages.FINISHED if last.stage == stages.FINISHED and done else stages.IN_BAY
