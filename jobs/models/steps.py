"""The steps of an operation as they are done, and the log of every act on them."""

from django.db import models
from django.db.models import Q

from garage.fields import MoneyField


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
    version = models.PositiveIntegerField(default=0, help_text="counts acts, notes aside; an act names the one it saw")
    at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=200, blank=True, help_text="why it was skipped or unticked")
    again = models.BooleanField(
        default=False, help_text="done, and to be confirmed again: what it stands on was reopened"
    )
    confirmed_by = models.ForeignKey(
        "garage.User", models.PROTECT, null=True, blank=True, related_name="+", help_text="the second person"
    )
    confirmed_why = models.CharField(max_length=200, blank=True, help_text="why a second person confirmed it")
    note = models.TextField(blank=True)
    shortage = models.TextField(blank=True, help_text="what the shelf lacked when it was taken")

    class Meta:
        ordering = ["operation", "position"]
        constraints = [
            models.UniqueConstraint(fields=["operation", "position"], name="job_step_position_once"),
            models.CheckConstraint(condition=~Q(state="skipped") | ~Q(reason=""), name="skipped_step_has_reason"),
            models.CheckConstraint(condition=Q(state="open") | Q(at__isnull=False), name="done_step_has_time"),
            models.CheckConstraint(condition=Q(state="done") | Q(again=False), name="step_again_was_done"),
            models.CheckConstraint(
                condition=Q(confirmed_by=None) | ~Q(confirmed_why=""), name="second_person_has_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def hold_point(self) -> bool:
        """Whether later steps stay closed until this one is confirmed."""
        return self.written is not None and self.written.hold_point

    @property
    def needs(self) -> frozenset[int]:
        """The procedure's steps that must be done before this one, by their primary keys."""
        return frozenset(step.pk for step in self.written.required.all()) if self.written else frozenset()

    @property
    def refuses_outside(self) -> bool:
        """Whether a reading outside its limits is turned away."""
        written = self.written
        return written is not None and bool(written.reading) and written.outside == written.Policy.REFUSE

    @property
    def stopped(self) -> bool:
        """Whether its sample stops the work: later steps stay closed until somebody has said what is to be done."""
        looks = self.written is not None and self.written.kind == "sample" and self.state == self.State.DONE
        return looks and hasattr(self, "sample") and self.sample.waits


class StepEvent(models.Model):
    """One act on a step, by an id made on the device: a repeat finds its row and changes nothing."""

    class Kind(models.TextChoices):
        TICK = "tick", "ticked"
        UNTICK = "untick", "unticked"
        SKIP = "skip", "skipped"
        NOTE = "note", "noted"
        CONFIRM = "confirm", "confirmed by a second person"
        CANNOT = "cannot", "ended as not done"
        CLOSE = "close", "closed again, to be confirmed anew"

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


class SkippedAnswer(models.Model):
    """What the counter said of an operation with skipped steps, before it is billed; the last answer counts.

    It holds for the steps as they stood (`steps` marks them): once one of them changes it is asked again.
    """

    class Choice(models.TextChoices):
        DONE = "done", "bill it as done"
        LESS = "less", "bill less"
        NONE = "none", "do not bill it"

    operation = models.ForeignKey("jobs.Operation", models.CASCADE, related_name="skipped_answers")
    choice = models.CharField(max_length=4, choices=Choice)
    words = models.TextField("what was done instead, or why")
    steps = models.CharField(max_length=64, help_text="a digest of the steps that were seen")
    net = MoneyField(help_text="what its lines came to when this was said: “bill less” is less than that")
    at = models.DateTimeField()
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [models.CheckConstraint(condition=~Q(words=""), name="skipped_answer_has_words")]

    def __str__(self) -> str:
        return f"{self.operation}: {self.get_choice_display()}"
