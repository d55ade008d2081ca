"""The people who log in."""

from django.contrib.auth.models import AbstractUser
from django.db import models


class Role(models.TextChoices):
    OWNER = "owner", "owner"
    COUNTER = "counter", "counter"
    TECHNICIAN = "technician", "technician"
    READER = "reader", "reader"


class User(AbstractUser):
    """Somebody who works here, or reads the books; what each role may do stands in `access.py`."""

    name = models.CharField("name", max_length=80, help_text="As it is printed on papers and shown beside a step.")
    role = models.CharField("role", max_length=12, choices=Role, default=Role.READER)
    pin = models.CharField(max_length=200, blank=True, editable=False, help_text="hash of the shared tablet's PIN")

    first_name = None  # type: ignore[assignment]
    last_name = None  # type: ignore[assignment]

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(role__in=Role.values), name="user_role_known")]

    def __str__(self) -> str:
        return self.name or self.username

    def get_full_name(self) -> str:
        return str(self)
