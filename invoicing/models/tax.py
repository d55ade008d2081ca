"""Tax rates by class and date. The garage answers for its own rates."""

from django.db import models
from django.db.models import F, Q

from garage.fields import ShareField
from garage.models import TaxClass


class TaxRate(models.Model):
    """One rate on a tax class from a day on; several on one class (state, county) give a row each."""

    tax_class = models.CharField("taxes", max_length=12, choices=TaxClass)
    label = models.CharField("name on the invoice", max_length=60)
    rate = ShareField("rate", help_text="0.0725 for 7.25 %")
    valid_from = models.DateField("from")
    valid_to = models.DateField("until", null=True, blank=True)

    class Meta:
        ordering = ["tax_class", "label", "valid_from"]
        constraints = [
            models.UniqueConstraint(fields=["tax_class", "label", "valid_from"], name="tax_rate_once_a_day"),
            models.CheckConstraint(condition=Q(rate__gte=0) & Q(rate__lt=1), name="tax_rate_is_a_share"),
            models.CheckConstraint(
                condition=Q(valid_to=None) | Q(valid_to__gte=F("valid_from")),
                name="tax_rate_ends_after_start",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.label} {self.rate * 100:f} %"
