"""What estimates and invoices have in common: everything printed is copied, so that the paper stands alone."""

from decimal import Decimal

from django.db import models

from garage.fields import MoneyField, QuantityField, ShareField, UnitPriceField
from garage.ledger import beside
from garage.models import TaxClass


class Paper(models.Model):
    """Whom a paper is for, the car, and what it comes to; `content_sha256` seals it and its rows."""

    person = models.ForeignKey("garage.SideRow", models.PROTECT, related_name="+")
    person_seal = models.CharField(max_length=64)
    vehicle_text = models.CharField(max_length=300, blank=True)
    labor_net = MoneyField()
    parts_net = MoneyField()
    other_net = MoneyField()
    net = MoneyField()
    tax = MoneyField()
    gross = MoneyField()
    currency = models.CharField(max_length=3)
    content_sha256 = models.CharField(max_length=64)
    vin = beside()
    plate = beside()
    order_number = beside()
    exemption = beside()  # the certificate, when the customer is exempt

    class Meta:
        abstract = True

    @property
    def advanced_net(self) -> Decimal:
        """What advance invoices that it takes off come to before tax, below zero."""
        return Decimal("0.00")

    @property
    def charges_net(self) -> Decimal:
        """Sublet and charges, without what was invoiced in advance."""
        return self.other_net - self.advanced_net


class PaperLine(models.Model):
    """A charge as printed: every string copied; `net` is its quantity times its price less its discount, to the cent.

    `base_quantity` is what left the shelf (or is meant to), exact in liters, pieces or hours. `under` is the position
    of the line of the same operation that this one hangs on (a core under its part, a returned core under its core).
    """

    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=8)
    finer = models.CharField(max_length=12, blank=True)
    item = models.ForeignKey("parts.Item", models.PROTECT, null=True, blank=True, related_name="+")
    description = models.CharField(max_length=200)
    condition = models.CharField(max_length=14, blank=True)
    under = models.PositiveSmallIntegerField(default=0)
    quantity = QuantityField()
    unit = models.CharField(max_length=6)
    base_quantity = QuantityField()
    typed = models.CharField(max_length=40, blank=True)
    unit_price = UnitPriceField()
    discount = ShareField(default=0)
    tax_class = models.CharField(max_length=12, choices=TaxClass)
    net = MoneyField()
    fitted = models.CharField(max_length=300, blank=True, help_text="what it stands in for, as printed: replaces PS-7")
    if_needed = models.BooleanField(default=False, help_text="its figures are the most it may come to")
    sublet_to = beside()

    class Meta:
        abstract = True
        ordering = ["position", "pk"]

    def __str__(self) -> str:
        return self.description
