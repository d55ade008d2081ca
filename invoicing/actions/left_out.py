"""Billing later what an invoice left out: the job waits for another invoice, or is left as it was."""

from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.models import User
from garage.writing import writing
from invoicing import leaving, queries
from invoicing.actions.issuing import settle_job
from jobs import queries as jobs_queries
from jobs import stages
from jobs.actions.stages import move
from jobs.models import Job

WAITS_FOR = "the invoice of what was left out"


@writing()
def bill_left_out(*, job: Job, actor: User | None, clock: Clock) -> Job:
    """Let an invoiced job wait for the invoice of the finished work that the first one left out.

    The sheet may be written again meanwhile, so that the work can be authorized. Refused when nothing was left out.
    """
    now = clock()
    fresh = jobs_queries.sheets().get(pk=job.pk)
    if not leaving.remaining(fresh):
        raise Refused(f"Everything that was finished on {fresh} is billed.")
    if fresh.stage == stages.FINISHED:
        return fresh
    return move(fresh, stages.FINISHED, waits_for=WAITS_FOR, actor=actor, clock=fixed(now))


@writing()
def leave_it(*, job: Job, actor: User | None, clock: Clock) -> Job:
    """Leave unbilled what an invoice left out: the job is invoiced as it was, and closed when nothing is owed."""
    now = clock()
    invoice = queries.invoice_of(job)
    job.refresh_from_db(fields=["stage"])
    if invoice is None or job.stage != stages.FINISHED:
        raise Refused(f"{job} is {job.get_stage_display()}: no other invoice of it stands.")
    move(job, stages.INVOICED, actor=actor, clock=fixed(now))
    settle_job(invoice, invoice.receivable, actor=actor, now=now)
    job.refresh_from_db(fields=["stage", "stage_since", "waits_for"])
    return job
