"""Estimates: the price of each operation as it was offered, in numbered revisions."""

from django.db import models
from django.db.models import Q

from garage.fields import MoneyField
from invoicing.models.lines import PaperLine


class Estimate(models.Model):
    """One revision of a job's estimate, frozen when it was written; `content_sha256` seals its rows."""

    job = models.ForeignKey("jobs.Job", models.PROTECT, related_name="estimates")
    revision = models.PositiveSmallIntegerField()
    job_version = models.PositiveIntegerField(help_text="the job's version it was written from")
    person = models.ForeignKey("garage.PersonSnapshot", models.PROTECT, related_name="+")
    vehicle_text = models.CharField(max_length=200, blank=True)
    odometer_text = models.CharField(max_length=40, blank=True)
    concern = models.TextField(blank=True)
    written_at = models.DateTimeField()
    written_by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")
    valid_until = models.DateField()
    promised_at = models.DateTimeField(null=True, blank=True)
    changes = models.TextField(blank=True, help_text="what changed since the revision before, a line each")
    labor_net = MoneyField()
    parts_net = MoneyField()
    other_net = MoneyField()
    net = MoneyField()
    tax = MoneyField()
    gross = MoneyField()
    taxes = models.JSONField(default=list, help_text="rows of label, base, rate and tax as printed")
    content_sha256 = models.CharField(max_length=64)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(fields=["job", "revision"], name="estimate_revision_once"),
            models.CheckConstraint(
                condition=Q(gross=models.F("net") + models.F("tax")), name="estimate_adds_up"
            ),
        ]

    def __str__(self) -> str:
        return f"estimate {self.job.number}-{self.revision}"


class EstimateOperation(models.Model):
    """An operation as offered, with its own price: it is authorized or declined as a whole."""

    estimate = models.ForeignKey(Estimate, models.PROTECT, related_name="operations")
    operation = models.ForeignKey("jobs.Operation", models.SET_NULL, null=True, related_name="+")
    position = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=120)
    concern = models.TextField(blank=True)
    cause = models.TextField(blank=True)
    net = MoneyField()
    gross = MoneyField(help_text="its net with the taxes on its own lines")

    class Meta:
        ordering = ["position"]

    def __str__(self) -> str:
        return self.title


class EstimateLine(PaperLine):
    """A line as offered."""

    estimate_operation = models.ForeignKey(EstimateOperation, models.PROTECT, related_name="lines")
    line = models.ForeignKey("jobs.Line", models.SET_NULL, null=True, related_name="+")
