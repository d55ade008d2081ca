"""The people and companies who own the cars."""

import datetime as dt
from typing import TYPE_CHECKING

from django.db import models
from django.db.models import Q

from garage.models.merging import Mergeable, consistent

if TYPE_CHECKING:
    from garage.models.vehicles import Vehicle


class Customer(Mergeable):
    """A person or company; several phones and emails, at most one of each preferred (the first).

    One row stands for whoever buys over the counter without giving a name (`walk_in`).
    """

    WALK_IN = "Walk-in sale"

    class Kind(models.TextChoices):
        PERSON = "person", "person"
        COMPANY = "company", "company"

    kind = models.CharField("kind", max_length=8, choices=Kind, default=Kind.PERSON)
    name = models.CharField("name", max_length=120)
    contact = models.CharField("contact person", max_length=120, blank=True)
    address = models.TextField("address", blank=True)
    notes = models.TextField(
        "notes", blank=True, help_text="Such as: prefers a call; no work above what is authorized."
    )
    tax_exempt = models.BooleanField("exempt from sales tax", default=False)
    exemption_certificate = models.CharField("exemption certificate number", max_length=60, blank=True)
    exemption_until = models.DateField("certificate valid until", null=True, blank=True)
    tax_number = models.CharField("tax or VAT number", max_length=40, blank=True)
    payment_days = models.PositiveSmallIntegerField("pays within, days", null=True, blank=True)
    order_number_required = models.BooleanField("needs an order number", default=False)
    erased_at = models.DateTimeField(null=True, blank=True, help_text="since then the book does not know who it was")
    walk_in = models.BooleanField(default=False, editable=False)
    created = models.DateTimeField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(tax_exempt=False) | ~Q(exemption_certificate=""), name="exempt_has_certificate"
            ),
            models.CheckConstraint(condition=~Q(name=""), name="customer_has_name"),
            consistent("customer_merged_or_standing"),
            models.UniqueConstraint(fields=["walk_in"], condition=Q(walk_in=True), name="one_walk_in_customer"),
            models.CheckConstraint(
                condition=Q(walk_in=False) | Q(merged_into=None, tax_exempt=False), name="walk_in_is_nobody"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def exempt_on(self, day: dt.date) -> bool:
        """Whether their exemption certificate holds on a day; of one who was merged it is the standing one's."""
        today, until = self.today, self.today.exemption_until
        return today.tax_exempt and bool(today.exemption_certificate) and (until is None or until >= day)

    @property
    def cars(self) -> "list[Vehicle]":
        """Their cars, those written down with a row that was merged into this one included."""
        rows = [self, *self.gathered.all()]
        return [car for row in rows for car in row.vehicles.all() if car.merged_into_id is None]


class Phone(models.Model):
    """A telephone number, as typed for people and as digits for the search."""

    customer = models.ForeignKey(Customer, models.CASCADE, related_name="phones")
    number = models.CharField("number", max_length=40)
    digits = models.CharField(max_length=40, db_index=True)
    label = models.CharField("label", max_length=40, blank=True)
    position = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["position", "pk"]

    def __str__(self) -> str:
        return self.number


class EmailAddress(models.Model):
    """An email address; the first one gets the invoices."""

    customer = models.ForeignKey(Customer, models.CASCADE, related_name="emails")
    address = models.EmailField("address")
    label = models.CharField("label", max_length=40, blank=True)
    position = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["position", "pk"]

    def __str__(self) -> str:
        return self.address


class AuthorizedPerson(models.Model):
    """Somebody the customer designated to authorize work in their place."""

    customer = models.ForeignKey(Customer, models.CASCADE, related_name="designated")
    name = models.CharField("name", max_length=120)
    contact = models.CharField("phone or email", max_length=120, blank=True)

    class Meta:
        ordering = ["pk"]
        verbose_name_plural = "authorized persons"

    def __str__(self) -> str:
        return self.name
