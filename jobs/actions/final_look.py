"""Taking the final look: a named person has looked the car over before it leaves the bay."""

from garage import audit
from garage.clock import Clock
from garage.errors import Refused
from garage.models import User
from garage.texts import fitting
from garage.writing import writing
from jobs import final_look, stages
from jobs.actions.finishing import left_open
from jobs.consents import authorized
from jobs.models import FinalLook, Job


@writing()
def take_final_look(*, job: Job, reason: str = "", actor: User | None, clock: Clock) -> FinalLook:
    """Record that `actor` looked the car over; it holds until a step is acted on or work is added.

    One that stands already stays. Refused for a job that is not in the bay, while a step is open, and where the shop
    asks for another person's look: then the owner alone may look, with a `reason`.
    """
    now = clock()
    job.refresh_from_db(fields=["stage"])
    if job.stage != stages.IN_BAY:
        raise Refused(f"{job} is {job.get_stage_display()}: the final look is taken in the bay.")
    operations = list(job.operations.prefetch_related("steps"))
    known = final_look.standing(job, operations)
    if known is not None:
        return known
    for sentence in left_open(list(authorized(job).prefetch_related("steps__written"))):
        raise Refused(sentence, "look")
    if final_look.asks_another([row for row in operations if row.started_at or row.correction], actor):
        if not final_look.may_alone(actor):
            raise Refused("Another person takes the final look here: you worked on this job.", "look")
        if not reason.strip():
            raise Refused("Write why nobody else takes the final look.", "look_reason")
    look = FinalLook.objects.create(
        job=job,
        work=final_look.mark_of(operations),
        reason=fitting(reason, 200, "look_reason"),
        at=now,
        by=actor,
    )
    audit.record("took the final look", job, actor=actor, now=now, reason=look.reason)
    return look
