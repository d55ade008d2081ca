"""Taking work off a job's sheet, and putting it back: what was removed is kept whole beside the audit trail.

Neither says anything for the customer: what they said last counts for an operation, on the sheet or off it.
"""

import datetime as dt
import json
from collections.abc import Collection, Iterable
from typing import Any

from django.core import serializers
from django.db import models
from django.db.models import Q

from garage import audit
from garage.clock import Clock
from garage.errors import Refused
from garage.models import AuditEntry, User
from garage.writing import writing
from jobs import queries
from jobs.actions.writing_up import counted, editable, next_position, not_declined
from jobs.consent import AUTHORIZED, DECLINED
from jobs.consents import consent_of
from jobs.models import Advisory, Draw, Finer, JobStep, Line, Operation

REMOVED_LINE, REMOVED_OPERATION = "removed line", "removed operation"

#: How long something removed can be put back by one act.
FOR_A_WHILE = dt.timedelta(hours=12)


@writing()
def remove_line(*, line: Line, actor: User | None, clock: Clock) -> AuditEntry:
    """Take a line off its operation; `put_back` with the entry returned undoes it for a while.

    Refused while something drawn for it is not back on the shelf, for declined work, and for what is written off.
    """
    now = clock()
    operation = line.operation
    editable(operation.job, operation)
    operation.refresh_from_db()
    not_declined(operation)
    if line.finer == Finer.WRITE_OFF:
        raise Refused("What is not charged is worked out on the draft of the invoice: undo it there.")
    _nothing_drawn([line])
    draws = line.draws.all()
    rows = _snapshot([line, *_hanging(line), *draws])
    draws.delete()  # taken and brought back: the stock ledger keeps both
    Line.objects.filter(pk=line.pk).delete()
    counted(operation.job, actor, now)
    return audit.record(REMOVED_LINE, line, actor=actor, now=now, job=operation.job_id, rows=rows)


class Authorized(Refused):
    """What is to be removed is authorized: the counter is asked first."""


@writing()
def remove_operation(
    *, operation: Operation, although_authorized: bool = False, actor: User | None, clock: Clock
) -> AuditEntry:
    """Take an operation with its lines and steps off the sheet; `put_back` undoes it for a while.

    Refused once work on it has begun, and for declined work, which stays on record. Raises Authorized when the
    customer wants it done and the counter did not say that it is to go all the same (`although_authorized`).
    """
    now = clock()
    operation.refresh_from_db()
    editable(operation.job, operation)
    state = consent_of(operation.job).of(operation.pk).state
    if state == DECLINED:
        raise Refused(f"“{operation}” was declined: that stays on record, and nothing of it is charged.")
    if operation.alternatives.exists():
        raise Refused(f"“{operation}” has an alternative on the sheet: remove that first.")
    _not_begun(operation)
    if state == AUTHORIZED and not although_authorized:
        raise Authorized(f"“{operation}” is authorized: its customer expects it to be done.")
    job, draws = operation.job, Draw.objects.filter(line__operation=operation)
    advisories = list(operation.advisories.values_list("pk", flat=True))
    rows = _snapshot([operation, *operation.steps.all(), *operation.lines.all(), *draws])
    operation.advisories.update(state=Advisory.State.OPEN)
    draws.delete()
    Operation.objects.filter(pk=operation.pk).delete()
    counted(job, actor, now)
    return audit.record(
        REMOVED_OPERATION, operation, actor=actor, now=now, job=job.pk, rows=rows, advisories=advisories
    )


@writing()
def put_back(*, entry: AuditEntry, actor: User | None, clock: Clock) -> models.Model:
    """Bring back what `entry` removed, as it was; a second time changes nothing. Refused when it is too late."""
    now = clock()
    model: type[Line] | type[Operation] = Line if entry.verb == REMOVED_LINE else Operation
    pk = int(entry.record.rpartition(":")[2])
    standing = model._default_manager.filter(pk=pk).first()
    if standing is not None:
        return standing
    if now - entry.at > FOR_A_WHILE:
        raise Refused(f"“{entry.label}” was removed too long ago to be put back by one act: write it again.")
    if AuditEntry.objects.filter(record=entry.record, pk__gt=entry.pk).exists():
        raise Refused(f"“{entry.label}” was put back and removed again since.")
    row = _restore(entry)
    if isinstance(row, Line):
        counted(row.operation.job, actor, now)
    else:
        known = Advisory.objects.filter(pk__in=entry.told["advisories"], state=Advisory.State.OPEN)
        known.update(state=Advisory.State.OFFERED, operation=row)
        counted(row.job, actor, now)
    audit.record("put back", row, actor=actor, now=now)
    return row


def _hanging(line: Line) -> list[Line]:
    """The lines that go with one: the core under a part, what gives a core back."""
    return [row for one in line.hanging.all() for row in (one, *_hanging(one))]


def _snapshot(rows: Iterable[models.Model]) -> list[Any]:
    """Every field of the rows in plain JSON."""
    kept: list[Any] = json.loads(serializers.serialize("json", rows))
    return kept


def _restore(entry: AuditEntry) -> Line | Operation:
    """Insert the rows of a snapshot; the first one is what was removed."""
    rows: list[Any] = [found.object for found in serializers.deserialize("python", entry.told["rows"])]
    first: Line | Operation = rows[0]
    if isinstance(first, Line):
        operation = Operation.objects.filter(pk=first.operation_id).first()
        if operation is None:
            raise Refused(f"The operation of “{first}” was removed too: put that back first.")
        if first.under_id is not None and not Line.objects.filter(pk=first.under_id).exists():
            raise Refused(f"“{first}” belongs to a line that was removed too: put that back first.")
        editable(operation.job, operation)
        not_declined(operation)
    else:
        editable(first.job)
        if first.job.operations.filter(position=first.position).exists():
            first.position = next_position(first.job)
    for row in rows:
        row.save(force_insert=True)
    return first


def _nothing_drawn(lines: Collection[Line]) -> None:
    """Refuse while anything drawn for these lines has not been brought back."""
    drawn = queries.used(lines)
    for line in lines:
        if drawn.get(line.pk, queries.NOTHING).quantity > 0:
            raise Refused(f"Something was taken from the shelf for “{line}”: return it to the shelf first.")


def _not_begun(operation: Operation) -> None:
    """Refuse when the bay has left anything on the operation: a tick, a note, a photo, a sample, a draw."""
    _nothing_drawn(list(operation.lines.all()))
    touched = ~Q(state=JobStep.State.OPEN) | Q(events__isnull=False) | Q(photos__isnull=False)
    begun = operation.steps.filter(touched)
    if operation.started_at or operation.finished_at or begun.exists() or operation.samples.exists():
        raise Refused(f"Work on “{operation}” has begun: it stays on the sheet.")
