"""An act on a step under way, as the verb of the bay hands it on."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from garage.models import User
from jobs.models import JobStep


@dataclass(frozen=True)
class Act:
    """An act under way: on which step, with what, by whom and when; `second` is who else confirms it."""

    step: JobStep
    kind: str
    base_version: int
    data: Mapping[str, str]
    actor: User | None
    now: dt.datetime
    second: User | None = None

    @property
    def steps(self) -> list[JobStep]:
        """All steps of the operation, in order."""
        return list(self.step.operation.steps.all())

    def said(self, name: str) -> str:
        """One of the act's words, trimmed."""
        return self.data.get(name, "").strip()
