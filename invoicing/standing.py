"""Where a job stands with its papers, and the one next act of the counter."""

import datetime as dt
from dataclasses import dataclass

from invoicing import charges, queries
from invoicing.models import Estimate, Invoice
from jobs import stages
from jobs.consent import Consent
from jobs.models import Job

WRITE, REVISE, RECORD, MAKE, PAY, NOTHING = "write", "revise", "record", "make", "pay", ""


@dataclass(frozen=True)
class Standing:
    """A job's papers: the estimate that counts, whether it still holds, what is undecided, what its customer
    allows, the standing invoice."""

    job: Job
    estimate: Estimate | None
    overtaken: bool
    expired: bool
    undecided: bool
    consent: Consent
    invoice: Invoice | None

    @property
    def may_withdraw(self) -> bool:
        """Whether something stands authorized that the customer may still take back."""
        return self.job.stage in stages.OPEN and self.estimate is not None and bool(self.consent.authorized)

    @property
    def next_act(self) -> str:
        """What the counter does next for this job."""
        if self.job.stage == stages.FINISHED and not self.undecided:
            return MAKE
        if self.job.stage in stages.BILLED:
            return PAY if self.job.stage == stages.INVOICED and self.invoice is not None else NOTHING
        if self.job.stage not in stages.OPEN or not self.undecided:
            return NOTHING
        if self.estimate is None:
            return WRITE
        return REVISE if self.overtaken or self.expired else RECORD


def standing_of(job: Job, today: dt.date) -> Standing:
    """Read where a job stands; `job` comes from `jobs.queries.sheets`."""
    estimate = queries.latest_estimate(job)
    consent = charges.consent_on(job, today)
    return Standing(
        job=job,
        estimate=estimate,
        overtaken=estimate is not None and charges.overtaken(estimate, job, consent, today),
        expired=estimate is not None and estimate.valid_until < today,
        undecided=bool(consent.asks),
        consent=consent,
        invoice=queries.invoice_of(job) if job.stage in stages.BILLED else None,
    )
