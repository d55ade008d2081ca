"""The audit trail: every act leaves a sealed row in its own transaction."""

import datetime as dt
from typing import Any

from django.db import models

from garage.ledger import append
from garage.models import AuditEntry, User


def record(verb: str, subject: models.Model, *, actor: User | None, now: dt.datetime, **details: Any) -> AuditEntry:
    """Write down that `actor` did `verb` to `subject`; `details` are JSON-able old and new values.

    Must be called inside the act's transaction, so that act and trail stand or fall together.
    """
    return append(
        AuditEntry(
            at=now,
            actor=actor,
            verb=verb,
            record=f"{subject._meta.label_lower}:{subject.pk}",
            label=str(subject)[:200],
            details=details,
        )
    )
