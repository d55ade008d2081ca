"""The steps of an operation as they are done, and the log of every act on them."""

from django.db import models
from django.db.models import Q


class JobStep(models.Model):
    """A step on a job. It points at the procedure's step, or carries its own title when the work is free."""

    class State(models.TextChoices):
        OPEN = "open", "open"
        DONE = "done", "done"
        SKIPPED = "skipped", "skipped"

    operation = models.ForeignKey("jobs.Operation", models.CASCADE, related_name="steps")
    written = models.ForeignKey("jobs.ProcedureStep", models.PROTECT, null=True, blank=True, related_name="+")
    follows = models.ForeignKey(
        "self",
        models.SET_NULL,
        null=True,
        blank=True,
        related_name="follow_ups",
        help_text="the step that asked for it",
    )
    title = models.CharField(max_length=240)
    position = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=8, choices=State, default=State.OPEN)
    version = models.PositiveIntegerField(default=0, help_text="counts acts; an act names the version it saw")
    at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=200, blank=True, help_text="why it was skipped or unticked")
    note = models.TextField(blank=True)
    shortage = models.TextField(blank=True, help_text="what the shelf lacked when it was drawn")

    class Meta:
        ordering = ["operation", "position"]
        constraints = [
            models.UniqueConstraint(fields=["operation", "position"], name="job_step_position_once"),
            models.CheckConstraint(condition=~Q(state="skipped") | ~Q(reason=""), name="skipped_step_has_reason"),
            models.CheckConstraint(condition=Q(state="open") | Q(at__isnull=False), name="done_step_has_time"),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def hold_point(self) -> bool:
        """Whether later steps stay closed until this one is confirmed."""
        return self.written is not None and self.written.hold_point


class StepEvent(models.Model):
    """One act on a step, by an id made on the device: a repeat finds its row and changes nothing."""

    class Kind(models.TextChoices):
        TICK = "tick", "ticked"
        UNTICK = "untick", "unticked"
        SKIP = "skip", "skipped"
        NOTE = "note", "noted"

    id = models.UUIDField(primary_key=True)
    step = models.ForeignKey(JobStep, models.CASCADE, related_name="events")
    kind = models.CharField(max_length=8, choices=Kind)
    data = models.JSONField(default=dict)
    base_version = models.PositiveIntegerField()
    device = models.CharField(max_length=40, blank=True)
    seq = models.PositiveBigIntegerField(null=True, blank=True)
    device_time = models.DateTimeField(null=True, blank=True, help_text="evidence only; order is by receipt")
    at = models.DateTimeField()
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")
    result = models.JSONField(default=dict)

    class Meta:
        ordering = ["at"]
        constraints = [
            models.UniqueConstraint(
                fields=["device", "seq"], condition=Q(seq__isnull=False), name="device_sequence_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.step}"
