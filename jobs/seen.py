"""Two people editing one job: what somebody saw when their form was made, so that nothing is overwritten unseen.

A job's `version` counts every edit of it. A form compares less: only the fields it would overwrite, so that two
counters may write two lines of one job at the same time and neither is stopped for nothing.
"""

from django.db import models

from garage.errors import Refused
from garage.ledger import digest, plain
from garage.models import AuditEntry


class ChangedMeanwhile(Refused):
    """Somebody else saved the same fields after the form was made; `seen` is the mark of what stands there now."""

    def __init__(self, sentence: str, seen: str) -> None:
        super().__init__(sentence)
        self.seen = seen


def mark(row: models.Model, *names: str) -> str:
    """A short mark of the named fields of a row, for a form's hidden `seen`: another one once a field differs."""
    return digest([plain(row._meta.get_field(name), row.serializable_value(name)) for name in names])[:16]


def check(row: models.Model, seen: str, *names: str) -> None:
    """Raise ChangedMeanwhile when the fresh `row` is not what was seen; an empty mark asks for no check."""
    current = mark(row, *names)
    if not seen or seen == current:
        return
    record = f"{row._meta.label_lower}:{row.pk}"
    last = AuditEntry.objects.filter(record=record).select_related("actor").order_by("-pk").first()
    who = str(last.actor) if last and last.actor else "Somebody"
    raise ChangedMeanwhile(
        f"{who} changed this while your form was open, to “{row}”. Nothing of it was overwritten: "
        "look at it, then save again to put yours in its place.",
        current,
    )
