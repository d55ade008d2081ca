"""A job: one visit of one vehicle, its operations and lines."""

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from garage import dates, late
from garage.fields import QuantityField, ShareField, UnitPriceField
from garage.models import TaxClass
from jobs import stages
from jobs.amounts import VOLUMES


class Stage(models.TextChoices):
    WRITTEN_UP = "written_up", "written up"
    AWAITING = "awaiting", _("awaiting authorization")
    READY = "ready", "ready"
    IN_BAY = "in_bay", "in the bay"
    FINISHED = "finished", "finished"
    INVOICED = "invoiced", "invoiced"
    CLOSED = "closed", "closed"
    CANCELED = "canceled", "canceled"


class Job(models.Model):
    """One visit of one vehicle; its number links every record of it (16 CCR 3358(e)).

    A counter sale is one too, of its own kind: parts and fluids handed over at once, without a vehicle and a bay.
    """

    class Kind(models.TextChoices):
        VISIT = "visit", "visit"
        SALE = "sale", "counter sale"

    kind = models.CharField(max_length=5, choices=Kind, default=Kind.VISIT, editable=False)
    number = models.PositiveIntegerField(unique=True)
    customer = models.ForeignKey("garage.Customer", models.PROTECT, related_name="jobs")
    vehicle = models.ForeignKey("garage.Vehicle", models.PROTECT, null=True, blank=True, related_name="jobs")
    stage = models.CharField(max_length=12, choices=Stage, default=Stage.WRITTEN_UP)
    stage_since = models.DateTimeField()
    waits_for = models.CharField(
        max_length=200, blank=True, help_text="who or what the job waits for, such as the customer's name"
    )
    concern = models.TextField("concern", help_text="In the customer's own words.")
    key_tag = models.CharField("key tag", max_length=20, blank=True)
    parked = models.CharField("parked at", max_length=60, blank=True)
    drop_off_notes = models.TextField("already scratched or broken at drop-off", blank=True)
    parts_wish = models.CharField(
        "replaced parts",
        max_length=8,
        choices=[
            ("", "not asked yet"),
            ("return", "wants them back"),
            ("show", "wants to see them"),
            ("discard", "no"),
        ],
        blank=True,
        default="",
    )
    promised_at = models.DateTimeField("promised for", null=True, blank=True)
    technician = models.ForeignKey("garage.User", models.PROTECT, null=True, blank=True, related_name="jobs")
    odometer_in = models.ForeignKey("garage.OdometerReading", models.PROTECT, null=True, blank=True, related_name="+")
    odometer_out = models.ForeignKey("garage.OdometerReading", models.PROTECT, null=True, blank=True, related_name="+")
    order_number = models.CharField("customer's order number", max_length=60, blank=True)
    comeback_of = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="comebacks")
    received_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    created_by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")
    version = models.PositiveIntegerField(default=1, help_text="counts edits, so that two counters cannot overwrite")

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(stage__in=Stage.values), name="job_stage_known"),
            models.CheckConstraint(condition=Q(kind="visit") | Q(kind="sale", vehicle=None), name="sale_has_no_car"),
        ]
        indexes = [
            models.Index(fields=["stage", "-id"], name="jobs_by_stage"),
            models.Index(fields=["customer", "-id"], name="jobs_of_customer"),
            models.Index(fields=["vehicle", "-id"], name="jobs_of_vehicle"),
        ]

    def __str__(self) -> str:
        return f"{'Sale' if self.is_sale else 'Job'} {self.number}"

    @property
    def is_sale(self) -> bool:
        """Whether it is a counter sale."""
        return self.kind == self.Kind.SALE

    @property
    def late(self) -> str:
        """How late it is, in words: promised for a moment that has passed, and its work is not done."""
        now = timezone.now()
        return late.late_by(self.promised_at, now) if stages.is_late(self.stage, self.promised_at, now) else ""

    @property
    def stage_sentence(self) -> str:
        """Who or what the job waits for, and since when."""
        return stages.sentence(self.stage, self.waits_for, dates.short_day(self.stage_since, timezone.localtime()))


class StageChange(models.Model):
    """When a job reached a stage, and who moved it there."""

    job = models.ForeignKey(Job, models.CASCADE, related_name="stage_changes")
    stage = models.CharField(max_length=12, choices=Stage)
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.job}: {self.get_stage_display()}"


class Operation(models.Model):
    """One piece of work on a job: concern, cause, correction, lines and steps; authorized or declined as a whole.

    What its customer decided is not kept here: `consents` reads it from the sealed records.
    """

    job = models.ForeignKey(Job, models.CASCADE, related_name="operations")
    position = models.PositiveSmallIntegerField()
    title = models.CharField("operation", max_length=200)
    concern = models.TextField("concern", blank=True)
    cause = models.TextField("found", blank=True)
    correction = models.TextField("done", blank=True)
    component = models.ForeignKey("jobs.Component", models.PROTECT, null=True, blank=True, related_name="+")
    revision = models.ForeignKey("jobs.ProcedureRevision", models.PROTECT, null=True, blank=True, related_name="+")
    alternative_to = models.ForeignKey("self", models.CASCADE, null=True, blank=True, related_name="alternatives")
    offered_again_after = models.BigIntegerField(
        default=0, help_text="sequence of the job's last record when declined work was offered again; 0: it was not"
    )
    technician = models.ForeignKey("garage.User", models.PROTECT, null=True, blank=True, related_name="+")
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    not_done = models.ForeignKey(
        "jobs.NotDone", models.SET_NULL, null=True, blank=True, related_name="+", help_text="that it ended as not done"
    )

    class Meta:
        ordering = ["position", "pk"]
        constraints = [models.UniqueConstraint(fields=["job", "position"], name="operation_position_once")]

    def __str__(self) -> str:
        return self.title


class LineKind(models.TextChoices):
    LABOR = "labor", _("labor")
    PART = "part", "part"
    FLUID = "fluid", "fluid"
    SUBLET = "sublet", "sublet"
    CHARGE = "charge", "charge"


class Finer(models.TextChoices):
    NONE = "", "—"
    CORE = "core", "core deposit"
    CORE_REFUND = "core_refund", "core returned"
    KIT = "kit", "kit"
    TEARDOWN = "teardown", "teardown"
    FEE = "fee", "fee"
    GOODWILL = "goodwill", "goodwill"
    WRITE_OFF = "write_off", "not charged"


class Line(models.Model):
    """What is charged or consumed: quantity and price in the unit that was typed, as printed (`jobs/amounts.py`).

    `base_quantity` is the same quantity exact in the unit the shelf counts in. Three finer kinds are below zero:
    goodwill and a write-off (what nobody authorized and is not charged) have a price below zero, a returned core a
    quantity below zero and the core it gives back in `under`. A core hangs under the part it was charged with and
    follows its quantity. `if_needed` says that it may turn out not to be needed: the customer is asked for the most it
    may come to, and it is billed when it was used.
    """

    class Condition(models.TextChoices):
        NONE = "", "—"
        NEW = "new", "new"
        USED = "used", "used"
        REBUILT = "rebuilt", "rebuilt"
        RECONDITIONED = "reconditioned", "reconditioned"

    operation = models.ForeignKey(Operation, models.CASCADE, related_name="lines")
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=8, choices=LineKind)
    finer = models.CharField("line type", max_length=12, blank=True, default="", choices=Finer)
    under = models.ForeignKey("self", models.CASCADE, null=True, blank=True, related_name="hanging")
    item = models.ForeignKey("parts.Item", models.PROTECT, null=True, blank=True, related_name="+")
    need = models.ForeignKey("jobs.ProcedureNeed", models.SET_NULL, null=True, blank=True, related_name="+")
    description = models.CharField("what", max_length=200)
    condition = models.CharField("condition", max_length=14, choices=Condition, blank=True, default="")
    quantity = QuantityField("quantity")
    unit = models.CharField(max_length=6, choices=[(unit, unit) for unit in ("h", "each", *VOLUMES)])
    base_quantity = QuantityField(help_text="the same in hours, pieces or liters, exact")
    typed = models.CharField(max_length=40, blank=True, help_text="the quantity as typed, such as 3/4 qt")
    unit_price = UnitPriceField("unit price")
    discount = ShareField("discount", default=0)
    tax_class = models.CharField("tax class", max_length=12, choices=TaxClass)
    sublet_to = models.CharField("done by", max_length=120, blank=True)
    if_needed = models.BooleanField("only if needed", default=False)

    class Meta:
        ordering = ["position", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gt=0, base_quantity__gt=0) | Q(quantity__lt=0, finer="core_refund"),
                name="line_has_quantity",
            ),
            models.CheckConstraint(
                condition=Q(unit_price__gte=0) & ~Q(finer__in=["goodwill", "write_off"])
                | Q(unit_price__lt=0, finer__in=["goodwill", "write_off"]),
                name="only_goodwill_and_write_offs_are_priced_below_zero",
            ),
            models.CheckConstraint(
                condition=~Q(finer__in=["goodwill", "write_off", "core", "core_refund"]) | Q(kind="charge", item=None),
                name="signed_lines_and_cores_are_charges",
            ),
            models.CheckConstraint(
                condition=~Q(finer="core_refund") | Q(under__isnull=False), name="core_refund_names_its_core"
            ),
            models.CheckConstraint(
                condition=Q(if_needed=False) | Q(quantity__gt=0, unit_price__gt=0), name="line_if_needed_has_its_most"
            ),
            models.CheckConstraint(condition=Q(discount__gte=0) & Q(discount__lte=1), name="line_discount_is_a_share"),
            models.CheckConstraint(condition=~Q(kind="sublet") | ~Q(sublet_to=""), name="sublet_names_who"),
            models.CheckConstraint(condition=~Q(kind="fluid") | Q(unit__in=VOLUMES), name="fluid_line_in_a_volume"),
        ]

    def __str__(self) -> str:
        return self.description


class Draw(models.Model):
    """A stock movement made for a line of a job, at a step of it."""

    line = models.ForeignKey(Line, models.PROTECT, related_name="draws")
    movement = models.OneToOneField("parts.Movement", models.PROTECT, related_name="+")
    step = models.ForeignKey("jobs.JobStep", models.PROTECT, null=True, blank=True, related_name="draws")

    def __str__(self) -> str:
        return f"{self.line}: {self.movement}"


class JobPhoto(models.Model):
    """A photo taken at drop-off or at a step."""

    job = models.ForeignKey(Job, models.CASCADE, related_name="photos")
    step = models.ForeignKey("jobs.JobStep", models.CASCADE, null=True, blank=True, related_name="photos")
    stored = models.ForeignKey("garage.StoredFile", models.PROTECT, related_name="+")
    caption = models.CharField("what it shows", max_length=160, blank=True)
    at_drop_off = models.BooleanField(default=False)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.caption or f"photo of {self.job}"
