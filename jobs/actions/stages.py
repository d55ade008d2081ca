"""Moving a job from stage to stage, and recording what its customer decided."""

from garage import audit
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.models import User
from garage.writing import writing
from jobs import objections, queries, stages
from jobs.models import Job, JobStep, Line, Operation, StageChange

AUTHORIZED, DECLINED = Operation.Decision.AUTHORIZED, Operation.Decision.DECLINED
UNDECIDED = Operation.Decision.UNDECIDED


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
        StageChange.objects.create(job=job, stage=stage, note=note[:200], at=now, by=actor)
    job.waits_for = waits_for[:160]
    job.save(update_fields=["stage", "stage_since", "waits_for"])
    audit.record("moved", job, actor=actor, now=now, stage=stage, waits_for=waits_for, note=note)
    return job


@writing()
def start_job(*, job: Job, technician: User | None = None, actor: User | None, clock: Clock) -> Job:
    """Put the car into the bay with a technician; Refused while nothing is authorized (no work before that)."""
    now = clock()
    authorized = job.operations.filter(decision=AUTHORIZED)
    if not authorized.exists():
        raise Refused(f"Nothing on {job} is authorized yet: work may not begin.")
    move(job, stages.IN_BAY, waits_for=str(technician or ""), actor=actor, clock=fixed(now))
    Job.objects.filter(pk=job.pk).update(technician=technician)
    job.technician = technician
    return job


@writing()
def cancel_job(*, job: Job, reason: str, actor: User | None, clock: Clock) -> Job:
    """Call the visit off, with the reason; what was written stays. Refused once anything was drawn for it."""
    now = clock()
    if not reason.strip():
        raise Refused("Say why the job is canceled.", "reason")
    for sentence in objections.to_canceling(job):
        raise Refused(sentence)
    drawn = queries.used(Line.objects.filter(operation__job=job))
    if any(used.quantity > 0 for used in drawn.values()):
        raise Refused("Something was drawn from the shelf for this job: return it to the shelf first.")
    return move(job, stages.CANCELED, waits_for=reason.strip(), note=reason.strip(), actor=actor, clock=fixed(now))


@writing()
def reopen_job(*, job: Job, actor: User | None, clock: Clock) -> Job:
    """Take a canceled visit up again, as it was written up; Refused for any other."""
    now = clock()
    job.refresh_from_db(fields=["stage"])
    if job.stage != stages.CANCELED:
        raise Refused(f"{job} is {job.get_stage_display()}, not canceled.")
    return move(job, stages.WRITTEN_UP, actor=actor, clock=fixed(now))


@writing()
def decide(*, operation: Operation, decision: str, reason: str = "", actor: User | None, clock: Clock) -> Operation:
    """Record the customer's decision on one operation, and let the job go on when nothing is left to decide.

    Called by the authorization, which keeps the evidence; `reason` is the customer's word on declined work.
    """
    now = clock()
    operation.refresh_from_db()
    operation.decision, operation.decided_at = decision, now
    operation.decline_reason = reason[:200] if decision == DECLINED else ""
    operation.save(update_fields=["decision", "decided_at", "decline_reason"])
    audit.record("decided", operation, actor=actor, now=now, decision=decision, reason=reason)
    settle(operation.job, actor=actor, clock=fixed(now))
    return operation


@writing()
def settle(job: Job, *, actor: User | None, clock: Clock) -> None:
    """Bring a job before or in the bay to the stage that its operations' decisions give it."""
    now = clock()
    job.refresh_from_db(fields=["stage", "waits_for"])
    if job.stage not in (stages.WRITTEN_UP, stages.AWAITING, stages.READY):
        return
    operations = list(job.operations.all())
    authorized = [operation for operation in operations if operation.decision == AUTHORIZED]
    if any(open_question(operation, authorized) for operation in operations):
        if job.stage == stages.WRITTEN_UP or (job.stage == stages.READY and not authorized):
            move(job, stages.WRITTEN_UP, actor=actor, clock=fixed(now))
    elif authorized:
        stage = _stage_after_the_answer(job, authorized)
        move(
            job,
            stage,
            waits_for=str(job.technician or "") if stage == stages.IN_BAY else "",
            actor=actor,
            clock=fixed(now),
        )
    elif operations:
        move(job, stages.WRITTEN_UP, waits_for="collection, all work declined", actor=actor, clock=fixed(now))


def _stage_after_the_answer(job: Job, authorized: list[Operation]) -> str:
    """Where a job goes on once its customer has answered: where it stood when they had to be asked."""
    last = job.stage_changes.filter(stage__in=[stages.READY, stages.IN_BAY, stages.FINISHED]).last()
    if job.stage != stages.AWAITING or last is None or last.stage == stages.READY:
        return stages.READY
    done = all(operation.finished_at for operation in authorized) and not JobStep.objects.filter(
        operation__in=authorized, state=JobStep.State.OPEN
    )
    return stages.FINISHED if last.stage == stages.FINISHED and done else stages.IN_BAY


def open_question(operation: Operation, authorized: list[Operation]) -> bool:
    """Whether an operation still waits for a decision; an alternative to authorized work does not."""
    if operation.decision != UNDECIDED:
        return False
    group = operation.alternative_to_id or operation.pk
    return all((other.alternative_to_id or other.pk) != group for other in authorized)
