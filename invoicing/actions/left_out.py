"""Billing later what no invoice that stands bills: the job waits for another invoice, or is left as it was."""

from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.models import User
from garage.writing import writing
from invoicing import accounts, leaving, queries
from invoicing.actions.issuing import settle_job
from jobs import queries as jobs_queries
from jobs import stages
from jobs.actions.stages import move
from jobs.models import Job

WAITS_FOR = "the invoice of what was left out"


@writing()
def bill_left_out(*, job: Job, actor: User | None, clock: Clock) -> Job:
    """Let an invoiced job wait for the invoice of the finished work that none of its standing ones bills.

    That is what they left out, and all of it once they were credited. The sheet may be written again meanwhile, so
    that the work can be authorized. Refused when nothing was left out.
    """
    now = clock()
    fresh = jobs_queries.sheets().get(pk=job.pk)
    if fresh.stage == stages.FINISHED and fresh.waits_for == WAITS_FOR:
        return fresh
    if not leaving.remaining(fresh):
        raise Refused(f"Everything that was finished on {fresh} is billed.")
    return move(fresh, stages.FINISHED, waits_for=WAITS_FOR, actor=actor, clock=fixed(now))


@writing()
def leave_it(*, job: Job, actor: User | None, clock: Clock) -> Job:
    """Leave unbilled what an invoice left out, or what was credited: the job is invoiced as it was, and closed when
    nothing is owed. Refused for a job that was never invoiced, and while a deposit stands on it."""
    now = clock()
    job.refresh_from_db(fields=["stage"])
    if job.stage != stages.FINISHED or not queries.was_invoiced(job):
        raise Refused(f"{job} is {job.get_stage_display()}: no other invoice of it was issued.")
    if against := accounts.against_ending(job):
        raise Refused(against)
    move(job, stages.INVOICED, actor=actor, clock=fixed(now))
    settle_job(job, actor=actor, now=now)
    job.refresh_from_db(fields=["stage", "stage_since", "waits_for"])
    return job
