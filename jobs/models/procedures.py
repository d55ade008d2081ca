"""Procedures: the written way to do an operation, in revisions that never change once published."""

from django.db import models
from django.db.models import F, Q

from garage.fields import QuantityField
from garage.models import DistanceUnit
from jobs.fluids import AUTOMATIC, BRAKE, COOLANT, OIL
from jobs.procedure_schema import TO_FILL_IN


class Component(models.Model):
    """A part of a vehicle that is serviced and whose fluid tells a story: transfer case, rear differential."""

    name = models.CharField("component", max_length=60, unique=True)
    position = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["position", "name"]

    def __str__(self) -> str:
        return self.name


class Procedure(models.Model):
    """One procedure, known by its title; what it says stands in its revisions."""

    title = models.CharField("title", max_length=120)
    component = models.ForeignKey(Component, models.PROTECT, related_name="procedures")
    current = models.ForeignKey(
        "jobs.ProcedureRevision",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="published one",
    )

    class Meta:
        ordering = ["title"]
        constraints = [models.UniqueConstraint(fields=["title"], name="procedure_title_once")]

    def __str__(self) -> str:
        return self.title


class FluidKind(models.TextChoices):
    """Which kind of fluid a procedure is about: what is looked at in its sample (jobs/fluids.py has the words)."""

    OIL = OIL, "oil"
    AUTOMATIC = AUTOMATIC, "automatic transmission fluid"
    COOLANT = COOLANT, "coolant"
    BRAKE = BRAKE, "brake fluid"


class ProcedureRevision(models.Model):
    """What a procedure said from one day on; a job keeps the revision it started with."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        PUBLISHED = "published", "published"
        RETIRED = "retired", "retired"

    procedure = models.ForeignKey(Procedure, models.PROTECT, related_name="revisions")
    number = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=10, choices=State, default=State.DRAFT)
    summary = models.TextField("what it is for", blank=True)
    hours = QuantityField("labor hours")
    capacity = QuantityField("fluid capacity, L", null=True, blank=True)
    capacity_typed = models.CharField(max_length=40, blank=True, help_text="the capacity as written, such as 1 qt")
    drain = QuantityField("drains at a change, L", null=True, blank=True)
    drain_typed = models.CharField(max_length=40, blank=True)
    fluid_kind = models.CharField("kind of fluid", max_length=12, choices=FluidKind, default=FluidKind.OIL)
    specification = models.CharField("fluid specification", max_length=120, blank=True)
    tools = models.TextField("tools", blank=True, help_text="One a line.")
    cautions = models.TextField("cautions", blank=True, help_text="One a line, shown before the first step.")
    source = models.CharField("where the data comes from", max_length=200, blank=True)
    every_distance = models.PositiveIntegerField("repeat after a distance of", null=True, blank=True)
    distance_unit = models.CharField(max_length=2, choices=DistanceUnit, default=DistanceUnit.MILES)
    every_months = models.PositiveSmallIntegerField("or after months", null=True, blank=True)
    written_by = models.CharField("written by", max_length=80, blank=True)
    published_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(fields=["procedure", "number"], name="revision_number_once"),
            models.CheckConstraint(condition=Q(hours__gte=0), name="procedure_hours_not_negative"),
            models.CheckConstraint(
                condition=Q(drain=None) | Q(capacity=None) | Q(drain__lte=F("capacity")),
                name="drains_within_capacity",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.procedure}, revision {self.number}"


class AppliesTo(models.Model):
    """Which vehicles a procedure is for; an empty field fits any."""

    procedure = models.ForeignKey(Procedure, models.CASCADE, related_name="applies_to")
    make = models.CharField(max_length=60, blank=True)
    model = models.CharField(max_length=80, blank=True)
    year_from = models.PositiveSmallIntegerField(null=True, blank=True)
    year_to = models.PositiveSmallIntegerField(null=True, blank=True)
    engine = models.CharField(max_length=80, blank=True)
    drivetrain = models.CharField(max_length=80, blank=True)

    class Meta:
        verbose_name_plural = "applies to"

    def __str__(self) -> str:
        years = f"{self.year_from or ''}–{self.year_to or ''}".strip("–")
        return " ".join(filter(None, [self.make, self.model, years, self.engine, self.drivetrain])) or "any vehicle"


class ProcedureNeed(models.Model):
    """What a procedure uses: an item and how much of it, with the amount as it was written."""

    revision = models.ForeignKey(ProcedureRevision, models.CASCADE, related_name="needs")
    position = models.PositiveSmallIntegerField(default=0)
    name = models.CharField(max_length=40, blank=True, help_text="how the steps call it")
    item = models.ForeignKey("parts.Item", models.PROTECT, null=True, blank=True, related_name="+")
    description = models.CharField("or described", max_length=120, blank=True)
    quantity = QuantityField("quantity", help_text="in the item's base unit")
    typed = models.CharField(max_length=40, blank=True, help_text="the amount as written, such as 0.85 L or 3/4 qt")
    one_time = models.BooleanField("used once, always new", default=False)

    class Meta:
        ordering = ["position", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gt=0) | Q(quantity=0, typed=TO_FILL_IN), name="need_has_quantity"
            ),
            models.CheckConstraint(condition=Q(item__isnull=False) | ~Q(description=""), name="need_says_what"),
        ]

    def __str__(self) -> str:
        return str(self.item or self.description)


class ProcedureStep(models.Model):
    """One step: what to do, with which tool, to which number, and what may hurt."""

    class Kind(models.TextChoices):
        DO = "do", "do"
        CHECK = "check", "check"
        MEASURE = "measure", "measure"
        DRAIN = "drain", "drain"
        FILL = "fill", "fill"
        TIGHTEN = "tighten", "tighten"
        INSPECT = "inspect", "inspect"
        PHOTO = "photo", "photo"
        SAMPLE = "sample", "look at the drained fluid"

    class Policy(models.TextChoices):
        REFUSE = "refuse", "is refused"
        REASON = "reason", "needs a reason"

    revision = models.ForeignKey(ProcedureRevision, models.CASCADE, related_name="steps")
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=8, choices=Kind, default=Kind.DO)
    name = models.CharField(max_length=40, blank=True, help_text="how the steps that need it call it")
    title = models.CharField(max_length=120)
    text = models.TextField(blank=True)
    tool = models.CharField(max_length=120, blank=True)
    caution = models.TextField(blank=True)
    hold_point = models.BooleanField(default=False, help_text="later steps stay closed until it is confirmed")
    reading = models.CharField("what is read", max_length=40, blank=True, help_text="empty: no reading")
    unit = models.CharField(max_length=8, blank=True, help_text="unit code of units.py")
    target = QuantityField(null=True, blank=True)
    low = QuantityField(null=True, blank=True)
    high = QuantityField(null=True, blank=True)
    outside = models.CharField("a reading outside", max_length=8, choices=Policy, default=Policy.REASON)
    need = models.ForeignKey(ProcedureNeed, models.SET_NULL, null=True, blank=True, related_name="steps")
    required = models.ManyToManyField(
        "self", symmetrical=False, blank=True, related_name="needed_by", help_text="steps to be done before it"
    )
    threads = models.CharField(max_length=60, blank=True, help_text="clean and dry, oiled …: what the torque is for")
    how = models.CharField(max_length=120, blank=True, help_text="how it is tightened without a torque, or after it")
    to_fill_in = models.CharField(
        max_length=40, blank=True, help_text="figures of the reading that are still to be filled in: target, from, to"
    )
    substance = models.BooleanField(default=False, help_text="without it the service does not count as done")

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["revision", "position"], name="step_position_once"),
            models.UniqueConstraint(fields=["revision", "name"], condition=~Q(name=""), name="step_name_once"),
            models.CheckConstraint(
                condition=Q(low=None) | Q(high=None) | Q(low__lte=F("high")), name="step_limits_in_order"
            ),
            models.CheckConstraint(condition=Q(reading="") | ~Q(unit=""), name="step_reading_has_unit"),
        ]

    def __str__(self) -> str:
        return f"{self.position} {self.title}"
