"""The shop's profile and the words that law and tax put on every line."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from garage.fields import MoneyField


class DistanceUnit(models.TextChoices):
    MILES = "mi", "miles"
    KILOMETERS = "km", "kilometers"


class Locale(models.TextChoices):
    US = "en-US", "United States: 5:00 PM, Nov 24, 2026"
    UK = "en-GB", "United Kingdom: 17:00, 24 Nov 2026"


class PageSize(models.TextChoices):
    LETTER = "Letter", "US Letter"
    A4 = "A4", "A4"


class TaxClass(models.TextChoices):
    """What a charge is in the eyes of a tax; the rates of each class stand in `invoicing`."""

    PARTS = "parts", "parts and fluid"
    LABOR = "labor", _("labor")
    FABRICATION = "fabrication", _("fabrication labor")
    SUBLET = "sublet", "sublet"
    CHARGE = "charge", "charges"
    NONE = "none", "not taxed"


class ShopProfile(models.Model):
    """The garage itself: one row, changed by the owner, printed on every paper."""

    name = models.CharField("garage name", max_length=120, default="Our garage")
    address = models.TextField("address", blank=True, help_text="As it is printed, line by line.")
    phone = models.CharField("phone", max_length=40, blank=True)
    email = models.EmailField("email", blank=True, help_text="Customers' answers go here.")
    license_number = models.CharField(
        _("license or registration number"),
        max_length=60,
        blank=True,
        help_text="Printed on estimates and invoices.",
    )
    waste_id = models.CharField("waste generator ID (EPA ID)", max_length=40, blank=True)
    tax_number = models.CharField("tax or VAT number", max_length=40, blank=True)
    currency = models.CharField("currency", max_length=3, default="USD", help_text="ISO 4217 code, such as USD.")
    distance_unit = models.CharField("distances in", max_length=2, choices=DistanceUnit, default=DistanceUnit.MILES)
    locale = models.CharField(
        "words, dates and times as in",
        max_length=5,
        choices=Locale,
        default=Locale.US,
        help_text="On screens, papers and mail. Papers already written keep theirs.",
    )
    time_zone = models.CharField("time zone", max_length=60, default="UTC", help_text="Such as America/New_York.")
    page_size = models.CharField("paper size", max_length=6, choices=PageSize, default=PageSize.LETTER)
    labor_rate = MoneyField(_("labor rate per hour"), default=0)
    labor_basis = models.CharField(
        "how hours are counted", max_length=120, default="the hours written in the procedure"
    )
    estimate_days = models.PositiveSmallIntegerField("an estimate holds for, days", default=30)
    payment_days = models.PositiveSmallIntegerField("an invoice is due after, days", default=14)
    deposits_taxed = models.BooleanField(
        "tax deposits when they are received",
        default=False,
        help_text="Where VAT is charged, a deposit for known work is invoiced at once: an advance invoice, whose net "
        "and tax the final invoice takes off. Sales tax is not due on a deposit.",
    )
    authorization_text = models.TextField(
        "sentence above the authorization",
        default="I authorize the work marked on this estimate, up to the total shown, and no more without asking me.",
    )
    limit_with_tax = models.BooleanField(
        "an authorized amount binds with tax",
        default=False,
        help_text="For consumers in the UK and the EU, where prices are said with tax.",
    )
    second_look = models.BooleanField(
        "another person takes the final look",
        default=False,
        help_text="Whoever worked on a job does not look it over before it is finished. The owner may, with a reason.",
    )
    estimate_text = models.TextField("closing text on estimates", blank=True)
    invoice_text = models.TextField("closing text on invoices", blank=True)
    warranty_text = models.TextField("warranty on our work", blank=True)
    mail_text = models.TextField(
        "text of the mail with an invoice",
        default="Hello {customer},\n\nattached is invoice {number} for your {vehicle}: {total}, {payable}.\n\n{garage}",
        help_text="May hold {customer}, {number}, {vehicle}, {garage}, {phone}, {total}, {payable} and {due}.",
    )
    logo = models.ForeignKey("garage.StoredFile", models.SET_NULL, null=True, blank=True, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="one_shop_profile"),
            models.CheckConstraint(condition=Q(labor_rate__gte=0), name="labor_rate_not_negative"),
        ]

    def __str__(self) -> str:
        return self.name
