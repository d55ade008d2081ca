"""What was measured, seen and noticed: readings, fluid samples, advisories, and what is due next."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _

from garage.fields import QuantityField
from garage.models import DistanceUnit
from jobs.fluids import temperature
from jobs.models.procedures import FluidKind
from jobs.verdict import Seen


class Reading(models.Model):
    """A value measured at a step, with its limits as they stood and the text as typed."""

    class Verdict(models.TextChoices):
        LOW = "low", "below the limit"
        OK = "ok", "within limits"
        HIGH = "high", "above the limit"

    step = models.ForeignKey("jobs.JobStep", models.CASCADE, related_name="readings")
    name = models.CharField(max_length=40)
    value = QuantityField()
    unit = models.CharField(max_length=8)
    typed = models.CharField(max_length=40)
    low = QuantityField(null=True, blank=True)
    high = QuantityField(null=True, blank=True)
    verdict = models.CharField(max_length=4, choices=Verdict)
    reason = models.CharField(max_length=200, blank=True, help_text="why it was accepted outside its limits")
    at = models.DateTimeField()
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(condition=Q(verdict="ok") | ~Q(reason=""), name="reading_outside_has_reason")
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.value.normalize():f} {self.unit}"


class FluidSample(models.Model):
    """What was seen of the fluid that came out of a component."""

    class Clarity(models.TextChoices):
        CLEAR = "clear", "clear"
        CLOUDY = "cloudy", "cloudy"
        OPAQUE = "opaque", "opaque"
        MILKY = "milky", "milky"
        LAYERS = "layers", "in layers"

    class Particles(models.TextChoices):
        NONE = "none", "none"
        PASTE = "paste", "fine gray paste"
        GLITTER = "glitter", "glitter"
        FLAKES = "flakes", "flakes"
        CHUNKS = "chunks", "chunks"
        RUST = "rust", "rust"
        SCALE = "scale", "scale"
        JELLY = "jelly", "jelly"
        FILM = "film", "oil film"
        SPECKS = "specks", "dark specks"

    class Smell(models.TextChoices):
        USUAL = "usual", "as usual"
        BURNT = "burnt", "burnt"
        EXHAUST = "exhaust", "of exhaust or fuel"
        OTHER = "other", "other"

    class Verdict(models.TextChoices):
        FRESH = "fresh", "fresh"
        SERVICEABLE = "serviceable", "serviceable"
        WORN = "worn", "worn"
        SPENT = "spent", "spent"
        CONTAMINATED = "contaminated", "contaminated"

    vehicle = models.ForeignKey("garage.Vehicle", models.PROTECT, related_name="samples")
    component = models.ForeignKey("jobs.Component", models.PROTECT, related_name="samples")
    operation = models.ForeignKey("jobs.Operation", models.PROTECT, null=True, blank=True, related_name="samples")
    step = models.OneToOneField("jobs.JobStep", models.PROTECT, null=True, blank=True, related_name="sample")
    on = models.DateField()
    odometer = models.PositiveIntegerField(null=True, blank=True)
    distance_on_fluid = models.PositiveIntegerField(null=True, blank=True)
    unit = models.CharField(max_length=2, choices=DistanceUnit, default=DistanceUnit.MILES)
    volume_out = QuantityField("came out, L", null=True, blank=True)
    fluid_kind = models.CharField("kind of fluid", max_length=12, choices=FluidKind, default=FluidKind.OIL)
    specification = models.CharField("specification it should have", max_length=120, blank=True)
    color = models.CharField("color", max_length=60)
    clarity = models.CharField("clarity", max_length=8, choices=Clarity)
    particles = models.CharField("particles", max_length=8, choices=Particles)
    smell = models.CharField("smell", max_length=8, choices=Smell, blank=True, help_text="not asked of every fluid")
    freeze_point = QuantityField("freeze point, °C", null=True, blank=True)
    freeze_point_typed = models.CharField(max_length=40, blank=True)
    water = QuantityField("water, %", null=True, blank=True)
    boiling_point = QuantityField("boiling point, °C", null=True, blank=True)
    boiling_point_typed = models.CharField(max_length=40, blank=True)
    verdict = models.CharField(max_length=12, choices=Verdict)
    stops = models.BooleanField(default=False, help_text="the work waits until somebody has said what is to be done")
    told = models.CharField("who was told", max_length=80, blank=True)
    told_words = models.CharField("what they said", max_length=200, blank=True)
    told_at = models.DateTimeField(null=True, blank=True)
    told_by = models.ForeignKey("garage.User", models.PROTECT, null=True, blank=True, related_name="+")
    notes = models.TextField("notes", blank=True)
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["-on", "-pk"]
        indexes = [models.Index(fields=["vehicle", "component", "-on"], name="samples_of_component")]
        constraints = [
            models.CheckConstraint(
                condition=Q(told="", told_words="", told_at=None) | (~Q(told="") & ~Q(told_words="")),
                name="sample_answer_is_whole",
            )
        ]

    def __str__(self) -> str:
        return f"{self.component}: {self.get_verdict_display()}"

    @property
    def waits(self) -> bool:
        """Whether the work is stopped: nobody has said yet what is to be done."""
        return self.stops and not self.told_words

    @property
    def seen(self) -> Seen:
        """What was seen and measured, as the rule of the verdict takes it."""
        return Seen(
            self.color,
            self.clarity,
            self.particles,
            self.smell,
            kind=self.fluid_kind,
            freeze_point=self.freeze_point,
            water=self.water,
            boiling_point=self.boiling_point,
            specification=self.specification,
        )

    @property
    def described(self) -> str:
        """The same in one line: `brown, clear, particles: none, smell: as usual, freezes at −34 °F · −37 °C`."""
        words = [
            self.color,
            self.get_clarity_display(),
            _("particles: %s") % self.get_particles_display(),
            self.smell and _("smell: %s") % self.get_smell_display(),
            self.freeze_point is not None
            and _("freezes at %s") % temperature(self.freeze_point, self.freeze_point_typed),
            self.water is not None and _("water: %s %%") % f"{self.water.normalize():f}",
            self.boiling_point is not None
            and _("boils at %s") % temperature(self.boiling_point, self.boiling_point_typed),
        ]
        return ", ".join(str(word) for word in words if word)


class Advisory(models.Model):
    """Later work that was noticed, with its limit; offered again until it is settled or declined."""

    class Limit(models.TextChoices):
        DRIVING = "driving", "before driving"
        DISTANCE = "distance", "by a distance"
        DATE = "date", "by a date"
        NEXT = "next", "at the next visit"

    class State(models.TextChoices):
        OPEN = "open", "open"
        OFFERED = "offered", "on an estimate"
        SETTLED = "settled", "settled"
        DECLINED = "declined", "declined"

    vehicle = models.ForeignKey("garage.Vehicle", models.PROTECT, related_name="advisories")
    job = models.ForeignKey("jobs.Job", models.PROTECT, related_name="advisories")
    component = models.ForeignKey("jobs.Component", models.PROTECT, null=True, blank=True, related_name="+")
    text = models.CharField("what was noticed", max_length=200)
    limit = models.CharField("to be done", max_length=8, choices=Limit, default=Limit.NEXT)
    by_odometer = models.PositiveIntegerField(null=True, blank=True)
    unit = models.CharField(max_length=2, choices=DistanceUnit, default=DistanceUnit.MILES)
    by_date = models.DateField(null=True, blank=True)
    state = models.CharField(max_length=8, choices=State, default=State.OPEN)
    operation = models.ForeignKey("jobs.Operation", models.SET_NULL, null=True, blank=True, related_name="advisories")
    stored = models.ForeignKey("garage.StoredFile", models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["pk"]
        verbose_name_plural = "advisories"
        constraints = [
            models.CheckConstraint(
                condition=~Q(limit="distance") | Q(by_odometer__isnull=False),
                name="advisory_by_distance_has_one",
            ),
            models.CheckConstraint(
                condition=~Q(limit="date") | Q(by_date__isnull=False), name="advisory_by_date_has_one"
            ),
        ]

    def __str__(self) -> str:
        return self.text


class DueService(models.Model):
    """When a component of a vehicle is due next, by distance and time, set when the work on it was finished."""

    vehicle = models.ForeignKey("garage.Vehicle", models.CASCADE, related_name="due")
    component = models.ForeignKey("jobs.Component", models.PROTECT, related_name="+")
    procedure = models.ForeignKey("jobs.Procedure", models.PROTECT, related_name="+")
    operation = models.ForeignKey("jobs.Operation", models.PROTECT, related_name="+")
    last_on = models.DateField()
    last_odometer = models.PositiveIntegerField(null=True, blank=True)
    every_distance = models.PositiveIntegerField(null=True, blank=True)
    every_months = models.PositiveSmallIntegerField(null=True, blank=True)
    unit = models.CharField(max_length=2, choices=DistanceUnit)
    on = models.DateField(null=True, blank=True, db_index=True)
    odometer = models.PositiveIntegerField(null=True, blank=True)
    because = models.CharField(max_length=8)

    class Meta:
        ordering = ["on", "pk"]
        verbose_name_plural = "services due"
        constraints = [models.UniqueConstraint(fields=["vehicle", "component", "procedure"], name="due_once")]

    def __str__(self) -> str:
        return f"{self.procedure} on {self.on}"
