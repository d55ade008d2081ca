"""The book itself: counters, keys, the audit trail, what stands beside sealed rows, and the search index."""

import secrets
from typing import Any

from django.db import models
from django.db.models import Q

from garage import formats
from garage.ledger import Chained, beside, digest


class Counter(models.Model):
    """The last number given out in a series; for a hash chain also the hash of its last row."""

    series = models.CharField(max_length=60, primary_key=True)
    value = models.BigIntegerField()
    last_hash = models.CharField(max_length=64, default="")

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(value__gte=0), name="counter_not_negative")]

    def __str__(self) -> str:
        return f"{self.series} {self.value}"


class IdempotencyKey(models.Model):
    """One act that a client asked for, by the key the client made; see `idempotency.once`."""

    key = models.UUIDField(primary_key=True)
    action = models.CharField(max_length=60)
    said = models.CharField(max_length=64, help_text="SHA-256 of what was asked with it")
    result = models.BigIntegerField(null=True)
    created = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return f"{self.action} {self.key}"


class AuditEntry(Chained):
    """Who did what to which record, when, with old and new values; written in the act's own transaction.

    `details` holds what names nobody (`audit.IN_CLEAR`); what the record is called and all else stand aside.
    """

    CHAIN = "audit"
    FORMATS = formats.AUDIT_ENTRY

    at = models.DateTimeField(db_index=True)
    actor = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")
    verb = models.CharField(max_length=80)
    record = models.CharField(max_length=60, help_text="model label and primary key, such as jobs.job:12")
    details = models.JSONField(default=dict)
    label = beside("erased")
    personal = beside({})

    class Meta:
        indexes = [models.Index(fields=["record", "-id"], name="audit_of_record")]
        verbose_name_plural = "audit entries"

    def __str__(self) -> str:
        return f"{self.verb} {self.label}"

    @property
    def told(self) -> dict[str, Any]:
        """Every detail of the act, those put aside included; the latter are gone once they are erased."""
        return {**self.details, **self.personal}


def new_salt() -> str:
    """A random salt for the seal of a side row."""
    return secrets.token_hex(16)


class SideRow(models.Model):
    """What a sealed row says of people, beside it: names, addresses, numbers, and words that somebody typed.

    The sealed row holds only `seal()`, a salted hash, so that after the record years data and salt can be erased here
    (`erasing.erase_side_rows`) while the chain and the sums still hold.
    """

    salt = models.CharField(max_length=32, default=new_salt)
    data = models.JSONField(default=dict)
    written_at = models.DateTimeField()
    erased_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(erased_at=None) | Q(salt=""), name="erased_side_row_has_no_salt")
        ]

    def __str__(self) -> str:
        return str(self.data.get("name", "erased")) if not self.erased_at else "erased"

    def seal(self) -> str:
        """The salted SHA-256 of the data, for the sealed row to keep."""
        return digest({"salt": self.salt, "data": self.data})

    def matches(self, seal: str) -> bool:
        """Say whether the data is still what was sealed; erased data cannot be compared and passes, if it is gone."""
        if self.erased_at is not None:
            return (self.salt, self.data) == ("", {})
        return self.seal() == seal


class ClockNote(Chained):
    """Why the owner let a paper bear a day that was asked about (`clockguard`); it covers what follows.

    The reason is free text and may name people: it stands in the side row.
    """

    CHAIN = "clock"
    FORMATS = formats.CLOCK_NOTE

    class Kind(models.TextChoices):
        BACK = "back", "dated before another paper"
        LEAP = "leap", "the clock leapt ahead"
        SILENCE = "silence", "nothing was written for a month"

    kind = models.CharField(max_length=8, choices=Kind)
    at = models.DateTimeField(help_text="by the clock that was asked about")
    day = models.DateField(help_text="the shop's day then")
    until = models.DateField(help_text="covers papers until the clock has passed this day")
    machine_start = models.BigIntegerField(help_text="when the machine was started by that clock, in seconds of UTC")
    by = models.ForeignKey("garage.User", models.PROTECT, related_name="+")
    reason = beside()

    def __str__(self) -> str:
        return f"note on the clock, {self.day}"


class SearchEntry(models.Model):
    """One thing that can be found by anything typed; `search.put` keeps it, a full-text index covers it."""

    kind = models.CharField(max_length=20)
    object_id = models.BigIntegerField()
    title = models.CharField(max_length=200)
    subtitle = models.CharField(max_length=300, blank=True)
    words = models.TextField(help_text="everything it is found by, normalized, separated by spaces")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kind", "object_id"], name="one_search_entry")]
        verbose_name_plural = "search entries"

    def __str__(self) -> str:
        return self.title
