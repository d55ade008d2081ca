"""Estimates: the price of each operation as it was offered, in numbered revisions."""

from django.db import models
from django.db.models import F, Q

from garage.fields import MoneyField
from garage.ledger import AppendOnly, beside
from invoicing import formats
from invoicing.models.papers import Paper, PaperLine


class Estimate(AppendOnly, Paper):
    """One revision of a job's estimate, frozen when it was written; `content_sha256` seals it and its rows."""

    FORMATS = formats.ESTIMATE
    OUTSIDE = frozenset({"id", "content_sha256"})

    job = models.ForeignKey("jobs.Job", models.PROTECT, related_name="estimates")
    revision = models.PositiveSmallIntegerField()
    job_version = models.PositiveIntegerField(help_text="the job's version it was written from")
    shop = models.JSONField(help_text="the garage's own name, address, numbers and texts as printed")
    odometer_text = models.CharField(max_length=40, blank=True)
    parts_wish = models.CharField(max_length=120, blank=True, help_text="about replaced parts, as printed")
    consent_seq = models.BigIntegerField(default=0, help_text="the job's last authorization then; 0: there was none")
    written_at = models.DateTimeField()
    written_by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")
    valid_until = models.DateField()
    promised_at = models.DateTimeField(null=True, blank=True)
    changes = models.TextField(blank=True, help_text="what changed since the revision before, a line each")
    limit_with_tax = models.BooleanField(default=False, help_text="an authorization of it binds with tax")
    taxes = models.JSONField(default=list, help_text="its tax rows as printed, with the tax's key and classes")
    rates = models.JSONField(default=list, help_text="every rate of the day it was written: what the customer heard")
    concern = beside()

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(fields=["job", "revision"], name="estimate_revision_once"),
            models.CheckConstraint(condition=Q(gross=F("net") + F("tax")), name="estimate_adds_up"),
        ]

    def __str__(self) -> str:
        return f"estimate {self.label}"

    @property
    def label(self) -> str:
        """Its number as printed: the job's, which links all papers of a visit, and the revision."""
        return f"{self.job.number}-{self.revision}"


class EstimateOperation(AppendOnly):
    """An operation as offered, with its own price: it is authorized or declined as a whole.

    The sheet's operation is remembered without a constraint: taken off the sheet and put back, it is the same one.
    """

    FORMATS = formats.ESTIMATE_OPERATION
    OUTSIDE = frozenset({"id", "estimate_id"})

    estimate = models.ForeignKey(Estimate, models.PROTECT, related_name="operations")
    operation = models.ForeignKey("jobs.Operation", models.DO_NOTHING, null=True, db_constraint=False, related_name="+")
    position = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=200)
    counted = models.BooleanField(default=True, help_text="in the sums; an alternative offered beside it is not")
    net = MoneyField()
    gross = MoneyField(help_text="its net with its share of the paper's taxes; those in the sums add up to the total")
    concern = beside()
    cause = beside()

    class Meta:
        ordering = ["position"]

    def __str__(self) -> str:
        return self.title


class EstimateLine(AppendOnly, PaperLine):
    """A line as offered."""

    FORMATS = formats.ESTIMATE_LINE
    OUTSIDE = frozenset({"id", "estimate_operation_id"})

    estimate_operation = models.ForeignKey(EstimateOperation, models.PROTECT, related_name="lines")
    line = models.ForeignKey("jobs.Line", models.DO_NOTHING, null=True, db_constraint=False, related_name="+")

    class Meta:
        ordering = ["position", "pk"]
