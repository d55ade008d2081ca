"""Closing a finished job that has nothing to bill, and reopening it."""

from garage import audit, shop
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.models import User
from garage.writing import writing
from invoicing import closing, drafts
from jobs import queries as jobs_queries
from jobs import stages
from jobs.actions.stages import move
from jobs.models import Job


@writing()
def close_without_invoice(*, job: Job, reason: str, actor: User | None, clock: Clock) -> Job:
    """Close a finished job of which nothing is billed: all its work was declined, withdrawn, not done or given away.

    Finished work that is left unbilled is kept with the reason. Refused, in words, for a job that is not finished,
    without a reason, where something can be billed or the customer has still to be asked, and while an invoice or a
    deposit stands on it.
    """
    now = clock()
    fresh, reason = jobs_queries.sheets().get(pk=job.pk), reason.strip()
    if fresh.stage == stages.CLOSED and reason and fresh.waits_for == reason:
        return fresh
    if fresh.stage != stages.FINISHED:
        raise Refused(f"{fresh} is {fresh.get_stage_display()}: only a finished job is closed without an invoice.")
    made = drafts.draft(fresh, shop.day_of(now))
    for sentence in closing.against(made):
        raise Refused(sentence)
    if not reason:
        raise Refused("Write why nothing is billed.", "reason")
    left_out = [row.sentence for row in made.left_out]
    audit.record("closed without an invoice", fresh, actor=actor, now=now, reason=reason, left_out=left_out)
    return move(fresh, stages.CLOSED, waits_for=reason, note=reason, actor=actor, clock=fixed(now))


@writing()
def reopen_closed(*, job: Job, actor: User | None, clock: Clock) -> Job:
    """Reopen a closed job on which no invoice stands: it is finished, and waits for its invoice again.

    Refused for any other, and for a counter sale, which is over once it is paid.
    """
    now = clock()
    job.refresh_from_db(fields=["stage"])
    if job.stage == stages.FINISHED:
        return job
    if not closing.may_reopen(job):
        raise Refused(f"{job} is {job.get_stage_display()}: only a job closed without an invoice is reopened.")
    return move(job, stages.FINISHED, actor=actor, clock=fixed(now))
