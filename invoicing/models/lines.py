"""What every line of an estimate and an invoice copies from the job, so that the paper stands alone."""

from django.db import models

from garage.fields import MoneyField, QuantityField, ShareField, UnitPriceField
from garage.models import TaxClass


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
    sublet_to = models.CharField(max_length=120, blank=True)
    net = MoneyField()

    class Meta:
        abstract = True
        ordering = ["position", "pk"]

    def __str__(self) -> str:
        return self.description
