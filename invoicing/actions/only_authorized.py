"""Billing only what was authorized, as one act on a draft, and taking that back while there is no invoice."""

import uuid
from decimal import Decimal

from garage import audit, shop
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.idempotency import once
from garage.models import AuditEntry, User
from garage.money import spoken
from garage.writing import writing
from invoicing.drafts import draft
from invoicing.only_authorized import GAVE_UP, plan_of
from jobs import queries as jobs_queries
from jobs.actions.write_offs import take_back_write_offs, write_off
from jobs.models import Job, Operation


@once("bill only what was authorized", AuditEntry)
def bill_only_authorized(*, key: uuid.UUID, job: Job, amount: Decimal, actor: User | None, clock: Clock) -> AuditEntry:
    """Take off a job's bill what nobody authorized, by a line below zero for each operation and tax class.

    `amount` is what that was said to come to before tax. What was drawn stays drawn; base and tax fall. The same `key`
    again changes nothing more. Gives the entry of the audit trail. Raises Refused where all is authorized, where it
    comes to another amount by now, and for what no amount can mend: another method, work not authorized or finished.
    """
    now = clock()
    made = draft(jobs_queries.sheets().get(pk=job.pk), shop.day_of(now))
    plan = plan_of(made)
    for sentence in plan.why_not:
        raise Refused(sentence)
    if not plan.rows:
        raise Refused(f"All that {job} bills is authorized: nothing is taken off.")
    if plan.net != amount:
        raise Refused(f"The draft changed meanwhile: {spoken(plan.net)} would come off now. Look at it again.")
    for row in plan.rows:
        operation = Operation.objects.select_related("job").get(pk=row.operation)
        write_off(operation=operation, off=row.off, actor=actor, clock=fixed(now))
    return audit.record(GAVE_UP, job, actor=actor, now=now, job=job.pk, amount=str(plan.net))


@writing()
def charge_it_again(*, job: Job, actor: User | None, clock: Clock) -> Decimal:
    """Put back on the bill what was taken off it and is not on an invoice; what that comes to before tax."""
    now = clock()
    back = take_back_write_offs(job=job, actor=actor, clock=fixed(now))
    if not back:
        raise Refused(f"Nothing is written off on {job} that could be charged again.")
    audit.record("charged again what was written off", job, actor=actor, now=now, job=job.pk, amount=str(back))
    return back
