"""What can stand on the shelf: items, their numbers and old names, the packs they are bought in."""

from django.db import models
from django.db.models import F, Q

from garage.fields import MoneyField, QuantityField, ShareField, UnitPriceField
from garage.models import TaxClass


class Kind(models.TextChoices):
    PART = "part", "part"
    FLUID = "fluid", "fluid"
    CONSUMABLE = "consumable", "consumable"


class Item(models.Model):
    """One thing kept on the shelf, counted in its base unit: each, or liters for a fluid.

    `on_hand` and `stock_value` are the running sums of its movements, kept by the verbs that write movements and
    verified by `books_check`. `current` spares every page the walk along the supersession chain; the verbs that
    make and take back a supersession keep it.
    """

    class BaseUnit(models.TextChoices):
        EACH = "each", "each"
        LITER = "L", "liter"

    kind = models.CharField("kind", max_length=10, choices=Kind)
    name = models.CharField("name", max_length=120)
    brand = models.CharField("brand", max_length=60, blank=True)
    base_unit = models.CharField("counted in", max_length=4, choices=BaseUnit)
    location = models.CharField("place on the shelf", max_length=40, blank=True)
    tax_class = models.CharField("tax class", max_length=12, choices=TaxClass, default=TaxClass.PARTS)
    minimum = QuantityField("minimum on hand", default=0, help_text="At or under this it is listed as low.")
    wanted = QuantityField("fill up to", default=0)
    price = UnitPriceField("selling price", null=True, blank=True, help_text="Empty: from cost and markup bands.")
    core_deposit = MoneyField("core deposit", default=0)
    hazard = models.CharField("hazard note", max_length=200, blank=True)
    open_days = models.PositiveSmallIntegerField("keeps after opening, days", null=True, blank=True)
    notes = models.TextField("notes", blank=True)
    active = models.BooleanField("in use", default=True)
    on_hand = QuantityField(default=0, editable=False)
    stock_value = UnitPriceField(default=0, editable=False)
    last_cost = UnitPriceField(null=True, blank=True, editable=False, help_text="cost per base unit at last receipt")
    current = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        editable=False,
        related_name="older",
        help_text="for a replaced item, the end of its chain: what is bought today",
    )
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(on_hand__gte=0), name="item_on_hand_not_negative"),
            models.CheckConstraint(condition=Q(stock_value__gte=0), name="item_value_not_negative"),
            models.CheckConstraint(condition=Q(minimum__gte=0) & Q(wanted__gte=0), name="item_minimum_not_negative"),
            models.CheckConstraint(condition=Q(price=None) | Q(price__gte=0), name="item_price_not_negative"),
            models.CheckConstraint(condition=~Q(kind="fluid") | Q(base_unit="L"), name="fluid_counted_in_liters"),
            models.CheckConstraint(condition=Q(current=None) | ~Q(current=F("pk")), name="item_not_its_own_successor"),
        ]
        indexes = [models.Index(fields=["active", "name", "id"], name="items_by_name")]

    def __str__(self) -> str:
        return " ".join(filter(None, [self.brand, self.name]))

    @property
    def measured(self) -> bool:
        """Whether it is poured: then each pack is a container of its own that can stand open."""
        return self.base_unit == self.BaseUnit.LITER


class ItemNumber(models.Model):
    """A number or name the item is known by: own, the maker's, a supplier's, an old one, a barcode."""

    class Kind(models.TextChoices):
        OWN = "own", "own number"
        MAKER = "maker", "maker's number"
        SUPPLIER = "supplier", "supplier's number"
        OLD_NUMBER = "old", "old number"
        OLD_NAME = "name", "old name"
        BARCODE = "barcode", "barcode"

    item = models.ForeignKey(Item, models.CASCADE, related_name="numbers")
    kind = models.CharField("kind", max_length=8, choices=Kind)
    number = models.CharField("number or name", max_length=80)
    key = models.CharField(max_length=80, db_index=True, editable=False, help_text="upper case, separators dropped")
    supplier = models.ForeignKey("parts.Supplier", models.CASCADE, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["kind", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["item", "kind", "key"], name="number_once_an_item"),
            models.CheckConstraint(condition=~Q(key=""), name="number_has_key"),
        ]

    def __str__(self) -> str:
        return self.number


class ItemSpecification(models.Model):
    """A specification the item meets, as the maker prints it."""

    item = models.ForeignKey(Item, models.CASCADE, related_name="specifications")
    text = models.CharField("specification", max_length=120)

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["item", "text"], name="specification_once")]

    def __str__(self) -> str:
        return self.text


class Supersession(models.Model):
    """`old` is replaced by `new`; chains are followed to the end, a loop is refused by the verb.

    One taken back stays with its day (`until`): what was drawn while it held was drawn rightly. `took_over` keeps
    what the new item got from the old one, as {field: [before, after]}, so that it can be given back.
    """

    old = models.ForeignKey(Item, models.PROTECT, related_name="replaced_by")
    new = models.ForeignKey(Item, models.PROTECT, related_name="replaces")
    since = models.DateField()
    until = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    took_over = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(old=F("new")), name="not_replaced_by_itself"),
            models.UniqueConstraint(fields=["old"], condition=Q(until=None), name="replaced_once_at_a_time"),
        ]

    def __str__(self) -> str:
        return f"{self.old} → {self.new}"


class Pack(models.Model):
    """A size in which an item is bought: 1 L bottle, 1 qt bottle, 20 L pail, box of 10."""

    item = models.ForeignKey(Item, models.CASCADE, related_name="packs")
    label = models.CharField("pack", max_length=60)
    size = QuantityField("size", help_text="in the item's base unit")
    typed = models.CharField(max_length=40, blank=True, help_text="the size as typed, such as 1 qt")
    barcode = models.CharField("barcode", max_length=60, blank=True)
    active = models.BooleanField("still bought", default=True)

    class Meta:
        ordering = ["size", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["item", "label"], name="pack_label_once"),
            models.CheckConstraint(condition=Q(size__gt=0), name="pack_has_size"),
        ]

    def __str__(self) -> str:
        return self.label


class MarkupBand(models.Model):
    """The markup on items up to a unit cost; the last band is open. See `pricing.selling_price`."""

    up_to = UnitPriceField("up to a cost of", null=True, blank=True, unique=True)
    markup = ShareField("markup", help_text="0.40 for 40%")

    class Meta:
        ordering = [F("up_to").asc(nulls_last=True)]
        constraints = [models.CheckConstraint(condition=Q(markup__gte=0), name="markup_not_negative")]

    def __str__(self) -> str:
        return f"{self.markup:%} up to {self.up_to}" if self.up_to is not None else f"{self.markup:%} above"
