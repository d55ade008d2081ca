"""Finished work that a bill leaves out: named with its reason, confirmed, and billed later by a bill of its own."""

from collections.abc import Collection
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from garage.errors import Refused
from garage.money import spoken
from invoicing import charges, queries
from jobs import queries as jobs_queries
from jobs import skipped, stages
from jobs.consent import AUTHORIZED, DECLINED, WITHDRAWN, Consent, Standing
from jobs.consents import consent_of
from jobs.models import Job, Operation

ZERO = Decimal("0.00")


@dataclass(frozen=True)
class LeftOut:
    """Finished work that is on no bill: its operation, why, and what its lines come to before tax."""

    operation: int
    title: str
    why: str
    net: Decimal

    @property
    def sentence(self) -> str:
        """What the counter confirms."""
        return f"“{self.title}” is finished and not on this invoice, {spoken(self.net)} before tax: {self.why}."


def left_out(
    job: Job, consent: Consent, billed: Collection[int | None], authorized: str = "it was not on the invoice"
) -> tuple[LeftOut, ...]:
    """The finished work of a job that is not `billed`; `authorized` is why what was authorized is not.

    `job` comes from `jobs.queries.sheets`.
    """
    rows = [row for row in job.operations.all() if row.pk not in billed and _finished(row)]
    asked = skipped.asked(rows)
    return tuple(
        LeftOut(row.pk, row.title, _why(consent.of(row.pk), asked.get(row.pk), authorized), skipped.net_of(row))
        for row in rows
        if row.lines.all()
    )


def remaining(job: Job) -> tuple[LeftOut, ...]:
    """What the job's standing invoices left out; of one that was taken back whole and is not to be billed again, all.

    Nothing while a job waits for its invoice, since then all is to be billed. One query where every finished work is
    on an invoice that nothing corrects.
    """
    if not queries.finished_and_unsettled(job).exists():
        return ()
    standing = queries.standing_invoices(job)
    if not standing and not taken_back_for_good(job):
        return ()
    sheet = jobs_queries.sheets().get(pk=job.pk)
    consent = consent_of(sheet, sheet.operations.all())
    if not standing:
        return left_out(sheet, consent, (), "its invoice was credited")
    return left_out(sheet, consent, queries.operations_on(standing))


def taken_back_for_good(job: Job) -> bool:
    """Whether a job is over, with an invoice that was credited; what is sold over the counter is sold anew."""
    return job.stage in stages.BILLED and not job.is_sale and queries.was_invoiced(job)


def against_canceling(job: Job) -> str:
    """Why a job is not canceled: an invoice of it stands. Empty when none does."""
    invoice = queries.invoice_of(job)
    return (
        _("Invoice %(number)s of %(job)s is issued: issue its credit memo first.")
        % {"number": invoice.label, "job": job}
        if invoice
        else ""
    )


def against_changing(operation: Operation) -> str:
    """Why the work of an operation is not changed while its job waits for another invoice: it is billed already."""
    invoice = queries.invoice_of_operation(operation)
    return (
        _("“%(work)s” is billed on invoice %(number)s: a credit memo corrects it.")
        % {"work": operation, "number": invoice.label}
        if invoice
        else ""
    )


def against_moving(operation: Operation) -> str:
    """Why stock does not move for work that was credited: the credit note left the cost of what is out with it."""
    if not queries.costs_borne([line.pk for line in operation.lines.all()]):
        return ""
    return (
        f"“{operation}” was credited, and what was used for it did not come back with that. Make its invoice as it is; "
        "a credit memo for it returns it to the shelf."
    )


def confirm(leaves_out: tuple[LeftOut, ...], confirmed: Collection[int]) -> None:
    """Raise Refused, beside its tick, for finished work that nobody said is left out."""
    for row in leaves_out:
        if row.operation not in confirmed:
            raise Refused(
                f"“{row.title}” is finished and would not be billed: confirm that, or have it authorized first.",
                f"leave_{row.operation}",
            )


def _finished(operation: Operation) -> bool:
    return operation.finished_at is not None and charges.work_state(operation) == "done"


def _why(standing: Standing, asked: skipped.Asked | None, authorized: str) -> str:
    """Why finished work is not billed."""
    if asked is not None and asked.not_billed and asked.answer is not None:
        return f"it is not to be billed, “{asked.answer.words}”"
    return {
        WITHDRAWN: "the customer no longer wants it",
        DECLINED: "the customer declined it",
        "alternative": "other work is authorized in its place",
    }.get(standing.reason, authorized if standing.state == AUTHORIZED else "it is not authorized")
