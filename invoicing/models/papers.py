"""What estimates and invoices have in common: everything printed is copied, so that the paper stands alone."""

from django.db import models

from garage.fields import MoneyField, QuantityField, ShareField, UnitPriceField
from garage.ledger import beside
from garage.models import TaxClass


class Paper(models.Model):
    """Whom a paper is for, the car, and what it comes to; `content_sha256` seals it and its rows."""

    person = models.ForeignKey("garage.SideRow", models.PROTECT, related_name="+")
    person_seal = models.CharField(max_length=64)
    vehicle_text = models.CharField(max_length=200, blank=True)
    labor_net = MoneyField()
    parts_net = MoneyField()
    other_net = MoneyField()
    net = MoneyField()
    tax = MoneyField()
    gross = MoneyField()
    content_sha256 = models.CharField(max_length=64)
    vin = beside()
    plate = beside()
    order_number = beside()
    exemption = beside()  # the certificate, when the customer is exempt

    class Meta:
        abstract = True


class PaperLine(models.Model):
    """A charge as printed: every string copied, `net` rounded once, half-up to the cent."""

    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=8)
    finer = models.CharField(max_length=12, blank=True)
    description = models.CharField(max_length=160)
    condition = models.CharField(max_length=14, blank=True)
    quantity = QuantityField()
    unit = models.CharField(max_length=4)
    typed = models.CharField(max_length=40, blank=True)
    unit_price = UnitPriceField()
    discount = ShareField(default=0)
    tax_class = models.CharField(max_length=12, choices=TaxClass)
    net = MoneyField()
    sublet_to = beside()

    class Meta:
        abstract = True
        ordering = ["position", "pk"]

    def __str__(self) -> str:
        return self.description
