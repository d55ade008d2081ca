"""The audit trail: every act leaves a sealed row in its own transaction."""

import datetime as dt
from typing import Any

from django.db import models

from garage.ledger import append, aside
from garage.models import AuditEntry, User

#: The details that stand in the sealed row itself: figures, keys, days, the program's own words and numbers of papers.
#: Whatever is not listed may name somebody (a typed reason, an old address) and is put aside, a new detail too.
IN_CLEAR = frozenset(
    {
        "advisories", "after", "amount", "bands", "before", "change", "cost", "credit", "decision", "erased",
        "estimate", "gross", "into", "invoice", "item", "job", "limit", "lines", "lower", "mail", "movement",
        "net", "number", "of", "on", "open", "outcome", "owner", "packs", "paid_on", "position", "price",
        "quantity", "rate", "reading", "revision", "role", "sha256", "since", "stage", "state", "tax_class",
        "until", "verdict", "version",
    }
)  # fmt: skip


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
            details={name: value for name, value in details.items() if name in IN_CLEAR},
            **aside(
                label=str(subject),
                personal={name: value for name, value in details.items() if name not in IN_CLEAR},
            ),
        )
    )
