"""Where things come from: suppliers, their prices, purchase orders."""

from django.db import models
from django.db.models import Q

from garage.fields import UnitPriceField


class Supplier(models.Model):
    """Somebody we buy from."""

    name = models.CharField("name", max_length=120, unique=True)
    account = models.CharField("our account with them", max_length=60, blank=True)
    phone = models.CharField("phone", max_length=40, blank=True)
    email = models.EmailField("orders go to", blank=True)
    address = models.TextField("address", blank=True)
    lead_days = models.PositiveSmallIntegerField("usual lead time, days", null=True, blank=True)
    notes = models.TextField("notes", blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class SupplierPrice(models.Model):
    """What a supplier asks for a pack from a day on; the row before it stays as the price's history.

    `current` marks the one that counts, kept by the verbs: the newest that was not taken back with its delivery.
    """

    pack = models.ForeignKey("parts.Pack", models.CASCADE, related_name="prices")
    supplier = models.ForeignKey(Supplier, models.CASCADE, related_name="prices")
    number = models.CharField("supplier's number", max_length=80, blank=True)
    price = UnitPriceField("price a pack")
    since = models.DateField()
    receipt_line = models.ForeignKey(
        "parts.ReceiptLine", models.PROTECT, null=True, blank=True, related_name="+", help_text="it was learned from"
    )
    taken_back = models.BooleanField(default=False, help_text="its delivery was undone")
    current = models.BooleanField(default=True)

    class Meta:
        ordering = ["-since", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["pack", "supplier"], condition=Q(current=True), name="one_price_a_pack_and_supplier"
            ),
            models.CheckConstraint(
                condition=Q(current=False) | Q(taken_back=False), name="a_price_taken_back_does_not_count"
            ),
            models.CheckConstraint(condition=Q(price__gte=0), name="supplier_price_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.supplier}: {self.price}"


class PurchaseOrder(models.Model):
    """What was asked of a supplier."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        SENT = "sent", "sent"
        PART = "part", "partly received"
        RECEIVED = "received", "received"
        CANCELED = "canceled", "canceled"

    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="orders")
    number = models.PositiveIntegerField(null=True, blank=True, unique=True)
    state = models.CharField(max_length=8, choices=State, default=State.DRAFT)
    expected = models.DateField("expected", null=True, blank=True)
    created = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(state="draft") | Q(number__isnull=False), name="sent_order_has_number")
        ]

    def __str__(self) -> str:
        return f"order {self.number or 'draft'} to {self.supplier}"


class PurchaseOrderLine(models.Model):
    """So many packs at the price expected."""

    order = models.ForeignKey(PurchaseOrder, models.CASCADE, related_name="lines")
    pack = models.ForeignKey("parts.Pack", models.PROTECT, related_name="+")
    packs = models.PositiveIntegerField()
    received = models.PositiveIntegerField(default=0)
    price = UnitPriceField("price a pack")
    reason = models.CharField("why", max_length=200, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["order", "pack"], name="pack_once_an_order"),
            models.CheckConstraint(condition=Q(packs__gt=0) & Q(price__gte=0), name="order_line_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.packs} × {self.pack}"
