"""Ending a finished job without an invoice: whether it may be, and whether it can be reopened."""

from collections.abc import Iterator

from garage.money import spoken
from invoicing import accounts, queries
from invoicing.drafts import DraftInvoice
from jobs import stages
from jobs.models import Job
from jobs.not_done import missing_words


def nothing_to_bill(made: DraftInvoice) -> bool:
    """Whether a finished job has come to its end with nothing that could be billed, and no invoice of it stands."""
    return made.job.stage == stages.FINISHED and not any(_to_be_billed(made)) and not made.earlier


def against(made: DraftInvoice) -> Iterator[str]:
    """Why a finished job is not closed without an invoice, one sentence each."""
    for invoice in made.earlier:
        yield f"Invoice {invoice.label} of {made.job} is issued: leave what it left out unbilled on the draft."
    yield from _to_be_billed(made)
    yield from missing_words(made.job)
    if sentence := accounts.against_ending(made.job):
        yield sentence


def _to_be_billed(made: DraftInvoice) -> Iterator[str]:
    """What is billed, or may be once the customer was asked."""
    for row in made.operations:
        if row.charges:
            yield f"“{row.title}” was authorized and done: make its invoice, {spoken(row.net)} before tax."
    for key in made.consent.asks:
        yield f"“{made.consent.of(key).title}” is not decided on: ask the customer first, and record what they say."


def may_reopen(job: Job) -> bool:
    """Whether a job is closed although no invoice of it stands."""
    return job.stage == stages.CLOSED and not job.is_sale and queries.invoice_of(job) is None
