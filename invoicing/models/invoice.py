"""Invoices and credit notes: issued once, numbered without gap, sealed, never changed."""

from decimal import Decimal

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from garage.fields import MoneyField, ShareField, UnitPriceField
from garage.ledger import AppendOnly, Chained, beside
from invoicing import formats
from invoicing.models.papers import Paper, PaperLine
from invoicing.models.tax import Treatment


class Invoice(Chained, Paper):
    """An issued invoice, an advance invoice for a deposit, or the credit note that corrects one.

    `content_sha256` seals its rows below.
    """

    CHAIN = "invoices"
    MOMENT = "issued_at"
    FORMATS = formats.INVOICE

    class Kind(models.TextChoices):
        INVOICE = "invoice", "invoice"
        CREDIT_NOTE = "credit_note", _("credit memo")
        ADVANCE = "advance", "advance invoice"

    class Consent(models.TextChoices):
        AUTHORIZATION = "authorization", _("by authorization")
        SALE = "sale", "by the sale itself"

    kind = models.CharField(max_length=12, choices=Kind, default=Kind.INVOICE)
    series = models.CharField(max_length=20, help_text="such as invoice:2026")
    number = models.PositiveIntegerField()
    label = models.CharField(max_length=20, unique=True, help_text="as printed, such as 2026-0412")
    job = models.ForeignKey("jobs.Job", models.PROTECT, null=True, blank=True, related_name="invoices")
    customer = models.ForeignKey("garage.Customer", models.PROTECT, related_name="invoices")
    corrects = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="credit_notes")
    shop = models.JSONField(help_text="the garage's own name, address and numbers as printed")
    odometer_in = models.CharField(max_length=40, blank=True)
    odometer_out = models.CharField(max_length=40, blank=True)
    issued_at = models.DateTimeField()
    issued_on = models.DateField(db_index=True)
    due_on = models.DateField()
    issued_by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")
    consent_seq = models.BigIntegerField(
        default=0, help_text="chain sequence of the job's last authorization at issue; 0: there was none"
    )
    consent = models.CharField(
        max_length=13, choices=Consent, default=Consent.AUTHORIZATION, help_text="how its customer agreed to it"
    )
    told = beside()  # who was told that a tax had changed
    notices = beside({})  # authorizations, next due, advisories, declined work, warranty; why it is credited

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(fields=["series", "number"], name="invoice_number_once"),
            models.CheckConstraint(condition=Q(gross=F("net") + F("tax")), name="invoice_adds_up"),
            models.CheckConstraint(
                condition=Q(net=F("labor_net") + F("parts_net") + F("other_net")),
                name="invoice_subtotals_add_up",
            ),
            models.CheckConstraint(
                condition=~Q(kind="credit_note") | Q(corrects__isnull=False),
                name="credit_note_names_its_invoice",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.label}"

    @property
    def advanced_net(self) -> Decimal:
        return sum((row.net for row in self.operations.all() if row.advance_id), Decimal("0.00"))

    @property
    def for_deposit(self) -> bool:
        """Whether it invoices a deposit or takes that invoice back: it has no labor and no parts."""
        return self.kind == self.Kind.ADVANCE or bool(self.corrects and self.corrects.kind == self.Kind.ADVANCE)

    @property
    def title(self) -> str:
        """Its name where one begins a line: Invoice 2026-0412, Credit memo 2026-0413."""
        return str(self).capitalize()


class InvoiceOperation(AppendOnly):
    """An operation as billed; or, with `advance`, an advance invoice that a final invoice takes off.

    The credit note of a final invoice puts it back, under the same key.
    """

    FORMATS = formats.INVOICE_OPERATION
    OUTSIDE = frozenset({"id", "invoice_id"})

    invoice = models.ForeignKey(Invoice, models.PROTECT, related_name="operations")
    operation = models.ForeignKey("jobs.Operation", models.DO_NOTHING, null=True, db_constraint=False, related_name="+")
    advance = models.ForeignKey(Invoice, models.PROTECT, null=True, blank=True, related_name="taken_off")
    position = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=200)
    net = MoneyField()
    concern = beside()
    cause = beside()
    correction = beside()
    technicians = beside()

    class Meta:
        ordering = ["position"]

    def __str__(self) -> str:
        return self.title


class InvoiceLine(AppendOnly, PaperLine):
    """A line as billed; `cost` is what the shelf gave up for it (for the margin, never printed).

    On a credit note the quantity is below zero and `credits` names the line it takes back.
    """

    FORMATS = formats.INVOICE_LINE
    OUTSIDE = frozenset({"id", "invoice_operation_id"})

    invoice_operation = models.ForeignKey(InvoiceOperation, models.PROTECT, related_name="lines")
    line = models.ForeignKey("jobs.Line", models.DO_NOTHING, null=True, db_constraint=False, related_name="+")
    credits = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="credited_by")
    cost = UnitPriceField(default=0)

    class Meta:
        ordering = ["position", "pk"]


class InvoiceTax(AppendOnly):
    """A tax row as printed, and the tax classes of the lines it was counted on.

    With `advance` it takes the tax off that the named advance invoice stated, below zero.
    """

    FORMATS = formats.INVOICE_TAX
    OUTSIDE = frozenset({"id", "invoice_id"})

    invoice = models.ForeignKey(Invoice, models.PROTECT, related_name="taxes")
    of_tax = models.ForeignKey("invoicing.Tax", models.PROTECT, related_name="+")
    advance = models.ForeignKey(Invoice, models.PROTECT, null=True, blank=True, related_name="+")
    tax_classes = models.CharField(max_length=80, help_text="separated by spaces")
    label = models.CharField(max_length=60)
    treatment = models.CharField(max_length=8, choices=Treatment, default=Treatment.TAXED)
    reason = models.CharField(max_length=120, blank=True, help_text="why it is zero-rated or exempt")
    rate = ShareField()
    base = MoneyField()
    tax = MoneyField()

    class Meta:
        ordering = ["pk"]
        verbose_name_plural = "invoice taxes"

    def __str__(self) -> str:
        return f"{self.label} {self.tax}"


class Receivable(models.Model):
    """What is still owed on an invoice: its gross, less its credit notes, less what was paid.

    Kept by the verbs, verified by `books_check`. Below zero the garage owes the customer: the invoice was paid
    before it was credited. A credit note has none of its own.
    """

    invoice = models.OneToOneField(Invoice, models.PROTECT, related_name="receivable")
    customer = models.ForeignKey("garage.Customer", models.PROTECT, related_name="receivables")
    due_on = models.DateField()
    currency = models.CharField(max_length=3)
    balance = MoneyField()

    class Meta:
        ordering = ["due_on", "pk"]
        indexes = [models.Index(fields=["due_on", "id"], condition=~Q(balance=0), name="receivables_owed")]

    def __str__(self) -> str:
        return f"{self.balance} on {self.invoice}"
