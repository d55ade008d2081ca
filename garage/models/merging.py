"""One thing that was written into the book twice: the second row closes and points to the first.

Nothing is moved, so that sealed rows keep whom they were sealed with and the pointer can be taken back: pages,
balances and finds gather all rows that lead to the same one (`same`).
"""

from typing import TYPE_CHECKING, Any, Self, cast

from django.db import models
from django.db.models import Q


class Mergeable(models.Model):
    """A row that may turn out to be another one. `standing` spares every page the walk along the pointers."""

    merged_into = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, editable=False, related_name="merged_here"
    )
    standing = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        editable=False,
        related_name="gathered",
        help_text="for a closed row the one at the end of its pointers",
    )

    if TYPE_CHECKING:
        merged_into_id: int | None
        standing_id: int | None

    class Meta:
        abstract = True

    @property
    def today(self) -> Self:
        """The row that stands for this one."""
        return cast(Self, self.standing or self)

    def same(self) -> "models.QuerySet[Any]":
        """Every row that stands for the same one, this included; for a filter."""
        key = self.standing_id or self.pk
        return type(self)._default_manager.filter(Q(pk=key) | Q(standing=key)).order_by()


def consistent(name: str) -> models.CheckConstraint:
    """A row is closed with a pointer and an end of it, or stands with neither."""
    return models.CheckConstraint(
        condition=Q(merged_into=None, standing=None) | Q(merged_into__isnull=False, standing__isnull=False), name=name
    )
