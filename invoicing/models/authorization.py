"""Authorizations: who allowed which work, when, how, and up to what amount. Sealed, never changed."""

from django.db import models
from django.db.models import Q

from garage.fields import MoneyField
from garage.ledger import AppendOnly, Chained, beside
from invoicing import formats


class Authorization(Chained):
    """One decision of the customer, or of a person they designated, on one revision of the estimate.

    `limit` is the pre-tax amount that may now be billed on the job in all, as it was said to the customer: for the
    paper and the history. What may be billed is worked out per operation (jobs.consent), never from it. It is below
    zero where no more than goodwill is still wanted, which no invoice can bill.
    `content_sha256` seals the operations below and the estimate's own seal, which stands here too.
    """

    CHAIN = "authorizations"
    MOMENT = "recorded_at"
    FORMATS = formats.AUTHORIZATION

    class Channel(models.TextChoices):
        IN_PERSON = "in_person", "in person"
        PHONE = "phone", "by telephone"
        TEXT = "text", "by text message"
        EMAIL = "email", "by email"
        LINK = "link", "by private link"

    class Capacity(models.TextChoices):
        CUSTOMER = "customer", "the customer"
        DESIGNATED = "designated", "a person the customer designated"

    job = models.ForeignKey("jobs.Job", models.PROTECT, related_name="authorizations")
    estimate = models.ForeignKey("invoicing.Estimate", models.PROTECT, related_name="authorizations")
    estimate_seal = models.CharField(max_length=64, help_text="the estimate's content_sha256 as the form had it")
    person = models.ForeignKey("garage.SideRow", models.PROTECT, related_name="+")
    person_seal = models.CharField(max_length=64)
    capacity = models.CharField(max_length=10, choices=Capacity)
    channel = models.CharField(max_length=10, choices=Channel)
    at = models.DateTimeField(help_text="when it was given")
    zone = models.CharField(max_length=60, help_text="the shop's time zone then")
    recorded_at = models.DateTimeField()
    taken_by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")
    limit = MoneyField(help_text="before tax, for the whole job")
    limit_gross = MoneyField(help_text="the same with the taxes of that day, as it was said to the customer")
    added = MoneyField(default=0, help_text="what this adds to the authorization before it, before tax")
    slack = MoneyField(default=0, help_text="what may be billed above what was authorized, in all")
    text = models.TextField(help_text="the sentence that was agreed to")
    content_sha256 = models.CharField(max_length=64)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(slack__gte=0), name="authorized_slack_not_negative"),
        ]

    def __str__(self) -> str:
        return f"authorization of {self.job}"


class AuthorizationOperation(AppendOnly):
    """What was decided on one operation, and its price then; `reason` is the customer's word when it was declined."""

    FORMATS = formats.AUTHORIZATION_OPERATION
    OUTSIDE = frozenset({"id", "authorization_id"})

    authorization = models.ForeignKey(Authorization, models.PROTECT, related_name="operations")
    estimate_operation = models.ForeignKey("invoicing.EstimateOperation", models.PROTECT, related_name="+")
    decision = models.CharField(
        max_length=10,
        choices=[("authorized", "authorized"), ("declined", "declined"), ("withdrawn", "no longer wanted")],
    )
    net = MoneyField()
    tax = MoneyField(default=0, help_text="its share of the taxes on all that was read out; 0 where it is a no")
    reason = beside()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["authorization", "estimate_operation"], name="operation_decided_once")
        ]

    def __str__(self) -> str:
        return f"{self.estimate_operation}: {self.decision}"
