"""Taxes and their rates by class and date. The garage answers for its own rates."""

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from garage.fields import ShareField
from garage.models import TaxClass


class Treatment(models.TextChoices):
    """How a class stands to a tax. One that is not subject to it gets no row on a paper, the others get theirs."""

    TAXED = "taxed", "taxed"
    ZERO = "zero", "zero-rated"
    EXEMPT = "exempt", "exempt"
    OUTSIDE = "outside", "not subject to it"


class Tax(models.Model):
    """One tax, such as a state's: the same row when its rate changes or its name, so that it is rounded once."""

    name = models.CharField("name on the invoice", max_length=60)

    class Meta:
        ordering = ["name", "pk"]
        verbose_name_plural = "taxes"
        constraints = [models.UniqueConstraint(Lower("name"), name="tax_name_once")]

    def __str__(self) -> str:
        return self.name


class TaxRate(models.Model):
    """One rate of a tax on a class from a day on; two taxes on one class (state, county) give a row each.

    Rates of one tax on one class never overlap: the verbs refuse it, `books_check` looks for it.
    """

    tax = models.ForeignKey(Tax, models.PROTECT, related_name="rates")
    tax_class = models.CharField("applies to", max_length=12, choices=TaxClass)
    rate = ShareField("rate", help_text="0.0725 for 7.25%")
    treatment = models.CharField("treatment", max_length=8, choices=Treatment, default=Treatment.TAXED)
    reason = models.CharField("reason", max_length=120, blank=True, help_text="printed where zero-rated or exempt")
    valid_from = models.DateField("from")
    valid_to = models.DateField("until", null=True, blank=True)

    class Meta:
        ordering = ["tax_class", "tax__name", "valid_from"]
        constraints = [
            models.UniqueConstraint(fields=["tax", "tax_class", "valid_from"], name="tax_rate_once_a_day"),
            models.CheckConstraint(condition=Q(rate__gte=0) & Q(rate__lt=1), name="tax_rate_is_a_share"),
            models.CheckConstraint(
                condition=(Q(treatment="taxed") & Q(rate__gt=0)) | (~Q(treatment="taxed") & Q(rate=0)),
                name="only_a_taxed_class_has_a_rate",
            ),
            models.CheckConstraint(
                condition=Q(valid_to=None) | Q(valid_to__gte=F("valid_from")),
                name="tax_rate_ends_after_start",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.tax} {self.said}"

    @property
    def said(self) -> str:
        """The rate as people say it: 7.25%, zero-rated."""
        if self.treatment == Treatment.TAXED:
            return f"{(self.rate * 100).normalize():f}%"
        return self.get_treatment_display()
