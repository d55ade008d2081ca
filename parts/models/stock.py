"""The stock ledger: deliveries, containers, and the append-only movements that everything else is the sum of."""

from datetime import datetime, timedelta
from decimal import Decimal

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from garage.fields import QuantityField, UnitPriceField
from garage.ledger import Chained, beside
from parts import formats
from parts.buying import amount


class Receipt(models.Model):
    """One delivery taken in, with the supplier's delivery note or invoice number."""

    supplier = models.ForeignKey("parts.Supplier", models.PROTECT, null=True, blank=True, related_name="receipts")
    order = models.ForeignKey("parts.PurchaseOrder", models.PROTECT, null=True, blank=True, related_name="receipts")
    reference = models.CharField("delivery note or invoice number", max_length=60, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"delivery {self.reference or self.pk}"

    @property
    def amount(self) -> Decimal:
        """What all its lines come to."""
        return sum((line.amount for line in self.lines.all()), Decimal(0))


class ReceiptLine(models.Model):
    """So many packs of an item at a price a pack."""

    receipt = models.ForeignKey(Receipt, models.PROTECT, related_name="lines")
    item = models.ForeignKey("parts.Item", models.PROTECT, related_name="+")
    pack = models.ForeignKey("parts.Pack", models.PROTECT, null=True, blank=True, related_name="+")
    packs = models.PositiveIntegerField()
    quantity = QuantityField(help_text="in all, in the item's base unit")
    pack_price = UnitPriceField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(packs__gt=0) & Q(quantity__gt=0) & Q(pack_price__gte=0),
                name="receipt_line_positive",
            )
        ]

    def __str__(self) -> str:
        return f"{self.packs} × {self.pack or self.item}"

    @property
    def amount(self) -> Decimal:
        """What the line comes to."""
        return self.packs * self.pack_price


class Container(models.Model):
    """One physical pack of a fluid on the shelf, sealed or open; for a counted item, one delivery's batch.

    First-in first-out cost runs over containers: each keeps what a unit of it cost. `content` and `value` are the
    running sums of its movements, kept by the verbs and verified by `books_check`.
    """

    item = models.ForeignKey("parts.Item", models.PROTECT, related_name="containers")
    pack = models.ForeignKey("parts.Pack", models.PROTECT, null=True, blank=True, related_name="+")
    receipt_line = models.ForeignKey(ReceiptLine, models.PROTECT, null=True, blank=True, related_name="containers")
    size = QuantityField(help_text="content when it came")
    capacity = QuantityField(
        null=True, blank=True, help_text="the most it can hold: its pack; empty for a batch of counted things"
    )
    unit_cost = UnitPriceField()
    content = QuantityField(default=0)
    value = UnitPriceField(default=0)
    received_at = models.DateTimeField()
    opened_at = models.DateTimeField(null=True, blank=True)
    location = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["received_at", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(content__gte=0), name="container_content_not_negative"),
            models.CheckConstraint(condition=Q(value__gte=0), name="container_value_not_negative"),
            models.CheckConstraint(condition=Q(size__gt=0) & Q(unit_cost__gte=0), name="container_has_size"),
            models.CheckConstraint(
                condition=Q(capacity=None) | Q(content__lte=F("capacity")), name="container_holds_no_more_than_its_pack"
            ),
        ]
        indexes = [
            models.Index(fields=["item", "received_at", "id"], condition=Q(content__gt=0), name="containers_to_draw")
        ]

    def __str__(self) -> str:
        return f"{self.item}, container {self.pk}"

    @property
    def room(self) -> Decimal | None:
        """How much more fits in; None for a batch of counted things, which has no limit."""
        return None if self.capacity is None else self.capacity - self.content

    @property
    def label(self) -> str:
        """What it is called on the shelf: its pack, or the size it came in."""
        return self.pack.label if self.pack else f"{self.size.normalize():f} {self.item.base_unit}"

    @property
    def state(self) -> str:
        """Sealed, open or empty; a batch of counted things is neither sealed nor open."""
        if self.content == 0:
            return "empty"
        if not self.item.measured:
            return ""
        return "open" if self.opened_at else "sealed"

    @property
    def kept_too_long(self) -> bool:
        """Whether it stands open for longer than its maker says it keeps."""
        return self.too_old(timezone.now())

    def too_old(self, at: datetime) -> bool:
        """Whether it stood open for longer than that at a moment."""
        if self.opened_at is None or self.item.open_days is None or self.content == 0:
            return False
        return at - self.opened_at > timedelta(days=self.item.open_days)


class Movement(Chained):
    """One append-only entry of the stock ledger: plus into the container, minus out of it.

    `value` is the movement's own worth in millionths of the currency, computed once in Decimal; the draw that
    empties a container takes the value that is left, so nothing is lost to rounding.
    """

    CHAIN = "stock"
    FORMATS = formats.MOVEMENT

    class Kind(models.TextChoices):
        OPENING = "opening", "opening balance"
        RECEIPT = "receipt", "received"
        DRAW = "draw", "taken from the shelf"
        RETURN = "return", "returned to the shelf"
        ADJUSTMENT = "adjustment", "adjusted"
        WASTE = "waste", "wasted"
        COUNT = "count", "counted"
        REVERSAL = "reversal", "undone"

    item = models.ForeignKey("parts.Item", models.PROTECT, related_name="movements")
    container = models.ForeignKey(Container, models.PROTECT, related_name="movements")
    kind = models.CharField(max_length=10, choices=Kind)
    quantity = QuantityField()
    value = UnitPriceField()
    typed = models.CharField(max_length=40, blank=True, help_text="the quantity as typed, such as 3/4 qt")
    reason = beside()
    reverses = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="reversed_by")
    returns = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="returned_by")
    at = models.DateTimeField()
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(quantity=0), name="movement_moves_something"),
            models.CheckConstraint(
                condition=(Q(quantity__gt=0) & Q(value__gte=0)) | (Q(quantity__lt=0) & Q(value__lte=0)),
                name="movement_value_has_its_sign",
            ),
            models.CheckConstraint(
                condition=(Q(kind="reversal") & Q(reverses__isnull=False))
                | (~Q(kind="reversal") & Q(reverses__isnull=True)),
                name="reversal_names_what_it_undoes",
            ),
            models.CheckConstraint(
                condition=(Q(kind="return") & Q(returns__isnull=False)) | (~Q(kind="return") & Q(returns__isnull=True)),
                name="return_names_its_draw",
            ),
        ]
        indexes = [
            models.Index(fields=["item", "-id"], name="movements_of_item"),
            models.Index(fields=["container", "-id"], name="movements_of_container"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {amount(self.quantity, self.item.base_unit)} of {self.item}"

    @property
    def is_undone(self) -> bool:
        """Whether another movement undid this one; read `reversed_by` along where many are shown."""
        return hasattr(self, "reversed_by")

    @property
    def undone_here(self) -> bool:
        """Whether the shelf itself may undo it: what a job drew or brought back is undone on that job."""
        return self.kind not in {self.Kind.DRAW, self.Kind.RETURN, self.Kind.REVERSAL}
