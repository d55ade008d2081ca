"""The cars: what they are, whose they were when, how far they have come."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from garage.models.merging import Mergeable, consistent
from garage.models.shop import DistanceUnit


class Vehicle(Mergeable):
    """One car. The VIN is optional; when given it has 17 allowed characters unless marked as not standard."""

    vin = models.CharField("VIN", max_length=20, blank=True)
    vin_not_standard = models.BooleanField("has no standard VIN (built before 1981, special)", default=False)
    heavy = models.BooleanField("over 10,000 lb (4,536 kg) gross", default=False)
    plate = models.CharField("plate", max_length=16, blank=True)
    plate_key = models.CharField(max_length=16, blank=True, db_index=True, editable=False)
    make = models.CharField("make", max_length=60)
    model = models.CharField("model", max_length=80)
    year = models.PositiveSmallIntegerField("model year", null=True, blank=True)
    engine = models.CharField("engine", max_length=80, blank=True)
    drivetrain = models.CharField("drivetrain and transmission", max_length=80, blank=True)
    color = models.CharField(_("color"), max_length=40, blank=True)
    notes = models.TextField("notes", blank=True)
    owner = models.ForeignKey("garage.Customer", models.PROTECT, null=True, blank=True, related_name="vehicles")
    created = models.DateTimeField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["vin"], condition=~Q(vin=""), name="vin_once"),
            consistent("vehicle_merged_or_standing"),
        ]

    def __str__(self) -> str:
        return " ".join(filter(None, [str(self.year or ""), self.make, self.model]))


class Ownership(models.Model):
    """Whose car it was from when to when; exactly one open row is the owner today."""

    vehicle = models.ForeignKey(Vehicle, models.CASCADE, related_name="ownerships")
    customer = models.ForeignKey("garage.Customer", models.PROTECT, related_name="ownerships")
    since = models.DateField()
    until = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["-since", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["vehicle"], condition=Q(until=None), name="one_owner_at_a_time"),
            models.CheckConstraint(
                condition=Q(until=None) | Q(until__gte=models.F("since")), name="ownership_ends_after_start"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.customer} from {self.since}"


class OdometerReading(models.Model):
    """What the odometer showed: whole miles or kilometers, no tenths, with the date (49 CFR 580.5(c)).

    A reading lower than an earlier one needs a reason, and the distance that stood there before.
    """

    class Condition(models.TextChoices):
        ACTUAL = "actual", "actual"
        EXCEEDS = "exceeds", "exceeds the odometer's mechanical limits"
        NOT_ACTUAL = "not_actual", "not the actual mileage"

    class LowerReason(models.TextChoices):
        NONE = "", "—"
        REPLACED = "replaced", "odometer or instrument cluster replaced"
        REPAIRED = "repaired", "odometer repaired"
        MISTYPED = "mistyped", "the earlier reading was mistyped"

    vehicle = models.ForeignKey(Vehicle, models.CASCADE, related_name="readings")
    on = models.DateField("date")
    reading = models.PositiveIntegerField("odometer")
    unit = models.CharField("unit", max_length=2, choices=DistanceUnit)
    condition = models.CharField("condition", max_length=10, choices=Condition, default=Condition.ACTUAL)
    lower_reason = models.CharField("why it is lower", max_length=10, choices=LowerReason, blank=True, default="")
    before = models.PositiveIntegerField("odometer before", null=True, blank=True)
    disregarded = models.BooleanField(default=False, help_text="an earlier reading that was mistyped")
    corrected_by = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="the right one, of a mistyped reading",
    )
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["-on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(lower_reason="") | Q(before__isnull=False),
                name="lower_reading_says_what_was_before",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.reading:,} {self.unit}"

    @property
    def right(self) -> "OdometerReading":
        """This reading, or the one that stands in its place since it turned out to be mistyped."""
        row = self
        while row.corrected_by is not None:
            row = row.corrected_by
        return row
