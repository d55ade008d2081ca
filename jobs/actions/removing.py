"""Taking work off a job's sheet, and putting it back: what was removed is kept whole in the audit trail."""

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
from jobs.actions.writing_up import counted, editable, edited, next_position
from jobs.models import Advisory, Draw, JobStep, Line, Operation

REMOVED_LINE, REMOVED_OPERATION = "removed line", "removed operation"

#: How long something removed can be put back by one act.
FOR_A_WHILE = dt.timedelta(hours=12)


@writing()
def remove_line(*, line: Line, actor: User | None, clock: Clock) -> AuditEntry:
    """Take a line off its operation; `put_back` with the entry returned undoes it for a while.

    Refused while something drawn for it is not back on the shelf.
    """
    now = clock()
    operation = line.operation
    editable(operation.job)
    operation.refresh_from_db()
    _nothing_drawn([line])
    draws, decided = line.draws.all(), _decision(operation)
    rows = _snapshot([line, *draws])
    draws.delete()  # taken and brought back: the stock ledger keeps both
    Line.objects.filter(pk=line.pk).delete()
    edited(operation, actor, now)
    details = {"job": operation.job_id, "rows": rows, "decided": decided, "version": operation.job.version}
    return audit.record(REMOVED_LINE, line, actor=actor, now=now, **details)


@writing()
def remove_operation(*, operation: Operation, actor: User | None, clock: Clock) -> AuditEntry:
    """Take an operation with its lines and steps off the sheet; `put_back` undoes it for a while.

    Refused once work on it has begun, and for declined work, which stays on record.
    """
    now = clock()
    operation.refresh_from_db()
    editable(operation.job)
    if operation.decision == Operation.Decision.DECLINED:
        raise Refused(f"“{operation}” was declined: that stays on record, and nothing of it is charged.")
    if operation.alternatives.exists():
        raise Refused(f"“{operation}” has an alternative on the sheet: remove that first.")
    _not_begun(operation)
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
        _line_is_back(row.operation, entry, actor, now)
    else:
        known = Advisory.objects.filter(pk__in=entry.details["advisories"], state=Advisory.State.OPEN)
        known.update(state=Advisory.State.OFFERED, operation=row)
        counted(row.job, actor, now)
    audit.record("put back", row, actor=actor, now=now)
    return row


def _line_is_back(operation: Operation, entry: AuditEntry, actor: User | None, now: dt.datetime) -> None:
    """Let the decision stand again when nothing but this line was taken away since it was made."""
    decided = entry.details["decided"]
    untouched = operation.job.version == entry.details["version"]
    if untouched and decided:
        Operation.objects.filter(pk=operation.pk).update(**decided)
        operation.refresh_from_db()
    edited(operation, actor, now, decision_stands=untouched)


def _decision(operation: Operation) -> dict[str, str]:
    """The decision on an operation as JSON; nothing when there is none."""
    if operation.decided_at is None:
        return {}
    return {
        "decision": operation.decision,
        "decided_at": operation.decided_at.isoformat(),
        "decline_reason": operation.decline_reason,
    }


def _snapshot(rows: Iterable[models.Model]) -> list[Any]:
    """Every field of the rows in plain JSON."""
    kept: list[Any] = json.loads(serializers.serialize("json", rows))
    return kept


def _restore(entry: AuditEntry) -> Line | Operation:
    """Insert the rows of a snapshot; the first one is what was removed."""
    rows: list[Any] = [found.object for found in serializers.deserialize("python", entry.details["rows"])]
    first: Line | Operation = rows[0]
    if isinstance(first, Line):
        operation = Operation.objects.filter(pk=first.operation_id).first()
        if operation is None:
            raise Refused(f"The operation of “{first}” was removed too: put that back first.")
        editable(operation.job)
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
            raise Refused(f"Something was drawn from the shelf for “{line}”: return it to the shelf first.")


def _not_begun(operation: Operation) -> None:
    """Refuse when the bay has left anything on the operation: a tick, a note, a sample, a draw."""
    _nothing_drawn(list(operation.lines.all()))
    begun = operation.steps.filter(~Q(state=JobStep.State.OPEN) | Q(events__isnull=False))
    if operation.started_at or operation.finished_at or begun.exists() or operation.samples.exists():
        raise Refused(f"Work on “{operation}” has begun: it stays on the sheet.")
