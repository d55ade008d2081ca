"""Money from and to customers, where it stands, and the acts that move it between invoices, deposits and accounts.

Every cent of a payment stands somewhere: on an invoice, on a job as a deposit, or on the customer's account as credit.
`PaymentPart` rows say where, signed; what stands at a place is the sum of its parts.
"""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from garage.fields import MoneyField
from garage.ledger import AppendOnly, Chained, beside
from invoicing import formats


class Payment(Chained):
    """Money from a customer (plus), or a refund or reversal (minus); `content_sha256` seals its parts.

    `person` is the customer as the receipt names them, whatever they are called later. `paid_on` is the day it changed
    hands, as the person said; `at` when it was recorded.
    """

    CHAIN = "payments"
    FORMATS = formats.PAYMENT

    class Method(models.TextChoices):
        CASH = "cash", "cash"
        CARD = "card", "card"
        TRANSFER = "transfer", "transfer"
        CHECK = "check", _("check")

    customer = models.ForeignKey("garage.Customer", models.PROTECT, related_name="payments")
    person = models.ForeignKey("garage.SideRow", models.PROTECT, related_name="+")
    person_seal = models.CharField(max_length=64)
    method = models.CharField("paid by", max_length=8, choices=Method)
    amount = MoneyField("amount")
    currency = models.CharField(max_length=3)
    reverses = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="reversed_by")
    paid_on = models.DateField(db_index=True)
    at = models.DateTimeField()
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")
    papers_seq = models.BigIntegerField(
        default=0, help_text="chain sequence of the last invoice or credit memo when it was recorded; 0: there was none"
    )
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

    @property
    def is_refund(self) -> bool:
        """Money handed back to the customer; a reversal is money that never arrived."""
        return self.amount < 0 and self.reverses_id is None


class Allocation(Chained):
    """An act that moves money from one place to another; its parts, sealed through it, come to zero."""

    CHAIN = "allocations"
    FORMATS = formats.ALLOCATION

    customer = models.ForeignKey("garage.Customer", models.PROTECT, related_name="allocations")
    amount = MoneyField("amount")
    content_sha256 = models.CharField(max_length=64)
    at = models.DateTimeField()
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["-pk"]
        constraints = [models.CheckConstraint(condition=Q(amount__gt=0), name="allocation_moves_something")]

    def __str__(self) -> str:
        return f"{self.amount} moved"


class PaymentPart(AppendOnly):
    """Money put to a place (plus) or taken from it (minus) by one act: a payment, or an allocation.

    With an invoice it pays that invoice, with a job it is the job's deposit, with neither it is credit on the
    customer's account. `of` is the payment whose money it is, where that is not the act itself.
    """

    FORMATS = formats.PAYMENT_PART
    OUTSIDE = frozenset({"id", "payment_id", "allocation_id"})

    payment = models.ForeignKey(Payment, models.PROTECT, null=True, blank=True, related_name="parts")
    allocation = models.ForeignKey(Allocation, models.PROTECT, null=True, blank=True, related_name="parts")
    of = models.ForeignKey(Payment, models.PROTECT, null=True, blank=True, related_name="moved")
    customer = models.ForeignKey("garage.Customer", models.PROTECT, related_name="payment_parts")
    invoice = models.ForeignKey("invoicing.Invoice", models.PROTECT, null=True, blank=True, related_name="payments")
    job = models.ForeignKey("jobs.Job", models.PROTECT, null=True, blank=True, related_name="deposits")
    amount = MoneyField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(amount=0), name="payment_part_not_zero"),
            models.CheckConstraint(
                condition=Q(payment__isnull=True, allocation__isnull=False, of__isnull=False)
                | Q(payment__isnull=False, allocation__isnull=True),
                name="payment_part_of_one_act",
            ),
            models.CheckConstraint(
                condition=Q(invoice__isnull=True) | Q(job__isnull=True), name="payment_part_at_one_place"
            ),
        ]
        indexes = [
            models.Index(
                fields=["customer"],
                condition=Q(invoice__isnull=True) & Q(job__isnull=True),
                name="payment_parts_on_account",
            )
        ]

    def __str__(self) -> str:
        return f"{self.amount} to {self.invoice or self.job or 'the account'}"
