"""Payments: money received or given back, sealed; a bounced check is a reversing row."""

from django.db import models
from django.db.models import Q

from garage.fields import MoneyField
from garage.ledger import AppendOnly, Chained, beside
from invoicing import formats


class Payment(Chained):
    """Money from a customer (plus), or a refund or reversal (minus); `content_sha256` seals its parts."""

    CHAIN = "payments"
    FORMATS = formats.PAYMENT

    class Method(models.TextChoices):
        CASH = "cash", "cash"
        CARD = "card", "card"
        TRANSFER = "transfer", "transfer"
        CHECK = "check", "check"

    customer = models.ForeignKey("garage.Customer", models.PROTECT, related_name="payments")
    method = models.CharField("paid by", max_length=8, choices=Method)
    amount = MoneyField("amount")
    reverses = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="reversed_by")
    at = models.DateTimeField()
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")
    content_sha256 = models.CharField(max_length=64)
    reference = beside()
    reason = beside()

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(amount=0), name="payment_not_zero"),
            # The reason stands aside, perhaps with a reference: that it is not the reference alone, the verbs see to.
            models.CheckConstraint(condition=Q(amount__gt=0) | ~Q(side_seal=""), name="money_given_back_has_a_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.amount} {self.get_method_display()}"


class PaymentPart(AppendOnly):
    """The part of a payment that goes to one invoice."""

    FORMATS = formats.PAYMENT_PART
    OUTSIDE = frozenset({"id", "payment_id"})

    payment = models.ForeignKey(Payment, models.PROTECT, related_name="parts")
    invoice = models.ForeignKey("invoicing.Invoice", models.PROTECT, related_name="payments")
    amount = MoneyField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["payment", "invoice"], name="payment_part_once"),
            models.CheckConstraint(condition=~Q(amount=0), name="payment_part_not_zero"),
        ]

    def __str__(self) -> str:
        return f"{self.amount} to {self.invoice}"
