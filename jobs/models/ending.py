"""How work ends: the final look before a job is finished, and work that could not be done."""

from django.db import models
from django.db.models import Q


class NotDone(models.Model):
    """That an operation ended as not done, at which step and why; undone, with its reason, when it was reopened."""

    operation = models.ForeignKey("jobs.Operation", models.CASCADE, related_name="endings")
    step = models.ForeignKey("jobs.JobStep", models.CASCADE, related_name="+")
    why = models.CharField("why it cannot be done", max_length=200)
    at = models.DateTimeField()
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")
    advisory = models.ForeignKey(
        "jobs.Advisory", models.PROTECT, null=True, related_name="+", help_text="what is to be done before driving"
    )
    taken = models.ForeignKey("jobs.CarTaken", models.PROTECT, null=True, related_name="endings")
    undone_at = models.DateTimeField(null=True)
    undone_by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")
    undone_why = models.CharField("why it is reopened", max_length=200, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(why=""), name="not_done_has_a_reason"),
            models.UniqueConstraint(
                fields=["operation"], condition=Q(undone_at__isnull=True), name="operation_ends_not_done_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.operation}: not done, {self.why}"


class CarTaken(models.Model):
    """The customer's word that they take the car although work on it was not done: who said it, how, when."""

    class How(models.TextChoices):
        IN_PERSON = "in_person", "in person"
        PHONE = "phone", "by phone"
        TEXT = "text", "by text message"
        EMAIL = "email", "by email"

    job = models.ForeignKey("jobs.Job", models.CASCADE, related_name="taken")
    who = models.CharField("who said it", max_length=80)
    how = models.CharField("how it was said", max_length=10, choices=How)
    said_at = models.DateTimeField("when it was said")
    words = models.TextField("in their words")
    at = models.DateTimeField()
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [models.CheckConstraint(condition=~Q(words="") & ~Q(who=""), name="car_taken_has_words")]

    def __str__(self) -> str:
        return f"{self.job}: {self.who}"


class FinalLook(models.Model):
    """That somebody looked the car over before it leaves the bay. It holds for the work as it stood (`work` marks it).

    `reason` is why the owner looked alone where the shop asks for another person's look.
    """

    job = models.ForeignKey("jobs.Job", models.CASCADE, related_name="final_looks")
    work = models.CharField(max_length=64, help_text="a digest of the work that was looked at")
    reason = models.CharField("why nobody else looked", max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.job}: final look"
