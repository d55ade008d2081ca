"""The one verb of the bay: an act on a step, by an id that the device made.

Acts are absolute (tick, untick, skip, confirm, note …), never toggles. A repeat of an id finds its row and changes
nothing. An act that was made against an older version of the step, and wants something else than what stands, is a
conflict: both are kept, the step stays as it is, and the answer says so in words.
"""

import datetime as dt
import uuid
from collections.abc import Callable, Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

from garage import audit
from garage.access import may
from garage.asking import instead_taken
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.models import User
from garage.texts import fitting
from garage.writing import writing
from jobs import objections, stages
from jobs.actions.acts import Act
from jobs.actions.draws import draw_at_step, line_used, settle_taking, taking_at, undo_at_step
from jobs.actions.not_done import end_as_not_done
from jobs.actions.recording import follow_up, keep_reading, keep_sample, looks_otherwise
from jobs.consent_words import all_beyond
from jobs.consents import consent_of
from jobs.held_words import what_holds, why_not_skipped
from jobs.holding import closed_by, guarded, to_do
from jobs.models import JobStep, ProcedureStep, StepEvent
from jobs.queries_bay import steps_to_work
from jobs.readings import (
    IMPLIED,
    Measured,
    Spec,
    in_liters,
    is_volume,
    odd_amount,
    over_torque,
    read,
    spec_of,
)

TICK, UNTICK, SKIP, NOTE = StepEvent.Kind.TICK, StepEvent.Kind.UNTICK, StepEvent.Kind.SKIP, StepEvent.Kind.NOTE
CONFIRM, CANNOT, CLOSE = StepEvent.Kind.CONFIRM, StepEvent.Kind.CANNOT, StepEvent.Kind.CLOSE
OPEN, DONE, SKIPPED = JobStep.State.OPEN, JobStep.State.DONE, JobStep.State.SKIPPED
WANTED: dict[str, str] = {TICK: DONE, CONFIRM: DONE, UNTICK: OPEN, SKIP: SKIPPED}

#: What became of an act: it was done; it was so already; it differs from what somebody else did meanwhile.
APPLIED, SAME, CONFLICT = "applied", "same", "conflict"


@writing()
def act(
    *,
    event_id: uuid.UUID,
    step: JobStep,
    kind: str,
    base_version: int,
    data: Mapping[str, str] | None = None,
    confirmed_by: User | None = None,
    device: str = "",
    seq: int | None = None,
    device_time: dt.datetime | None = None,
    actor: User | None,
    clock: Clock,
) -> StepEvent:
    """Do one act on a step and answer with its event; its `result` holds outcome, version and sentence.

    `data` are words as typed: `reading` and `reason`; for a sample `color`, `clarity`, `particles`, `smell`,
    `distance`, `notes` and the figures of its kind of fluid; for a note `text`; `as_it_is` answers the Questions that
    the act raised before. `confirmed_by` is the second person of a confirmation, whose password was asked. Raises
    Refused, with nothing kept, where the act may not be: work not authorized, not started or ended as not done, a step
    before it that must be done first, a reading that its limits turn away, a missing reason.
    """
    now = clock()
    known = StepEvent.objects.filter(pk=event_id).first()
    if known is not None:
        if (known.step_id, known.kind, known.data) != (step.pk, kind, dict(data or {})):
            raise Refused(
                "This was sent before with something else in it, and that was kept. "
                "Load the page again and enter it there."
            )
        return known
    if seq is not None and StepEvent.objects.filter(device=device, seq=seq).exists():
        raise Refused("This device has already sent another act under that number.")
    doing = Act(steps_to_work().get(pk=step.pk), kind, base_version, dict(data or {}), actor, now, confirmed_by)
    workable(doing)
    result = _compare(doing) or _APPLY[kind](doing)
    second = {"confirmed_by": confirmed_by.pk} if confirmed_by is not None else {}
    audit.record(StepEvent.Kind(kind).label, doing.step, actor=actor, now=now, **result, **second, data=doing.data)
    return StepEvent.objects.create(
        id=event_id,
        step=doing.step,
        kind=kind,
        data=doing.data,
        base_version=base_version,
        device=device,
        seq=seq,
        device_time=device_time,
        at=now,
        by=actor,
        result=result,
    )


def workable(doing: Act) -> None:
    """Refuse unless the work is authorized and the car is in the bay (or its customer is asked about more).

    A step is not done with another part than was agreed to; the steps that do without it go on.
    """
    operation = doing.step.operation
    if operation.not_done_id is not None and doing.kind != NOTE:
        raise Refused(f"“{operation}” ended as not done: reopen it first.")
    job, standing = operation.job, consent_of(operation.job).of(operation.pk)
    if not standing.allows_work:
        raise Refused(f"“{operation}” is not authorized: work on it may not begin.")
    for sentence in objections.to_moving(operation):
        raise Refused(sentence)
    line = line_used(doing.step)
    if doing.kind in (TICK, CONFIRM) and line is not None and not standing.allows_line(line.pk):
        raise Refused(f"“{line}” is not what the customer authorized: ask them first ({all_beyond(standing)}).")
    if stages.under_way(job.stage, operation.started_at is not None):
        return
    if job.stage in (stages.READY, stages.WRITTEN_UP, stages.AWAITING):
        raise Refused(f"{job} is not in the bay: start it first.")
    raise Refused(f"{job} is {job.get_stage_display()}: its steps are no longer changed.")


def _compare(doing: Act) -> dict[str, Any] | None:
    """What an act comes to before anything is done: the same as stands, a conflict, or None: go on."""
    step, wanted = doing.step, WANTED.get(doing.kind)
    if doing.kind == NOTE:
        return None
    if step.state == wanted and not step.again and not _reads_otherwise(doing):
        return _result(step, SAME)
    due = to_do(step) if wanted == DONE or doing.kind == CANNOT else step.state == OPEN
    if doing.base_version == step.version and (due or wanted == OPEN):
        return None
    return _result(
        step, CONFLICT, f"{_standing(step)} That counts; what you sent is kept beside it and changes nothing."
    )


def _reads_otherwise(doing: Act) -> bool:
    """Whether a tick on a done step brings another reading than the one that stands."""
    spec = spec_of(doing.step.written)
    typed = doing.said("reading")
    standing = doing.step.readings.last()
    if WANTED.get(doing.kind) != DONE or spec is None:
        return False
    if doing.kind == TICK and hasattr(doing.step, "sample") and looks_otherwise(doing, doing.step.sample):
        return True
    if not typed and standing is None:
        return False
    measured = read(replace(spec, outside="reason"), typed, doing.said("reason") or "compared")
    return (measured and measured.value) != (standing and standing.value)


def _standing(step: JobStep) -> str:
    if step.again:
        return f"A step that “{step}” stands on was reopened meanwhile: it is to be confirmed again."
    if step.state == OPEN and step.by is None:
        return f"“{step.operation}” ended as not done meanwhile, and was reopened."
    sample = getattr(step, "sample", None)
    did = {DONE: "did", SKIPPED: "skipped", OPEN: "unticked"}[JobStep.State(step.state)]
    seen = [sample.described] if sample is not None else []
    readings = ", ".join([*(reading.typed for reading in step.readings.all()), *seen])
    return f"{step.by or 'Somebody'} {did} “{step}” meanwhile{f' with {readings}' if readings else ''}."


def _result(step: JobStep, outcome: str, sentence: str = "") -> dict[str, Any]:
    return {"outcome": outcome, "version": step.version, "sentence": sentence}


def _tick(doing: Act) -> dict[str, Any]:
    return _do(doing, spec_of(doing.step.written))


def _confirm(doing: Act) -> dict[str, Any]:
    """A second person answers for a step that cannot be done as written, or not read."""
    step, second = doing.step, doing.second
    if not guarded(doing.steps, step):
        raise Refused(f"“{step}” needs no second person: it can be done, or skipped with a reason.")
    if second is None or doing.actor is None or not may(second, "bay"):
        raise Refused("A second person who works here must log in for this.", "username")
    if second.pk == doing.actor.pk:
        raise Refused("This must be somebody else: you are the one who is at it.", "username")
    step.confirmed_why = _reason(doing, "Write why it is confirmed like this.")
    step.confirmed_by = second
    spec = spec_of(step.written)
    return _do(doing, spec and replace(spec, outside="reason", required=False))


def _do(doing: Act, spec: Spec | None) -> dict[str, Any]:
    """Keep what was read or seen, draw what is used, and mark the step done.

    Confirmed again it keeps its reading unless another is typed, and nothing is drawn: what was poured is drawn as it
    is read now, not a second time.
    """
    step, written, again = doing.step, doing.step.written, doing.step.again
    _open_to_work(doing)
    spec = replace(spec, required=False) if spec and again else spec
    before = step.readings.last()
    measured = read(spec, doing.said("reading"), doing.said("reason")) if spec else None
    poured = measured.liters() if measured and is_volume(measured.unit) and _pours(step) else None
    if measured or not again:
        _ask(doing, measured, poured)
    if doing.kind == TICK and written and written.kind == ProcedureStep.Kind.PHOTO and not step.photos.exists():
        raise Refused("Take the photo first, or write why it cannot be taken.")
    if spec and measured:
        step.readings.all().delete()  # of a step that is confirmed again; the events keep what was read
        keep_reading(doing, measured)
        if over_torque(spec, measured):
            follow_up(doing, measured)
    if again:
        if measured is None or (before and measured.value == before.value) or not _pours(step):
            return _stand(doing, DONE, "")
        undo_at_step(step, actor=doing.actor, clock=fixed(doing.now))
    elif doing.kind == TICK:
        step.confirmed_by, step.confirmed_why = None, ""
        if written and written.kind == ProcedureStep.Kind.SAMPLE:
            keep_sample(doing, measured)
    step.shortage = draw_at_step(
        step,
        poured,
        measured.typed if poured and measured else "",
        fresh=instead_taken(doing.said("as_it_is")),
        actor=doing.actor,
        clock=fixed(doing.now),
    )
    return _stand(doing, DONE, "")


def _ask(doing: Act, measured: Measured | None, poured: Decimal | None) -> None:
    """Raise Questions, unless the act answers them, before anything leaves the shelf or counts as drained."""
    taking = taking_at(doing.step, poured)
    settle_taking(
        [(taking.line, taking.quantity)] if taking else [],
        doing.said("as_it_is"),
        doing.now,
        odd=_odd_amounts(doing, measured, poured),
    )


def _odd_amounts(doing: Act, measured: Measured | None, poured: Decimal | None) -> list[str]:
    """What to ask about what came out or went in, whatever the kind of step it was poured at."""
    written = doing.step.written
    if written is None or measured is None or (poured is None and written.kind not in IMPLIED):
        return []
    return odd_amount(measured, written.revision.capacity, _expected(doing.step, written))


def _expected(step: JobStep, written: ProcedureStep) -> Decimal | None:
    """How much is to come out or go in, in liters, by the step, else by the procedure; None: nothing says."""
    if written.target is not None:
        return in_liters(written.target, written.unit)
    if written.kind in (ProcedureStep.Kind.DRAIN, ProcedureStep.Kind.SAMPLE):
        return written.revision.drain
    line = line_used(step)
    alone = written.need is not None and written.need.steps.count() == 1
    return line.base_quantity if line is not None and alone and _pours(step) else None


def _untick(doing: Act) -> dict[str, Any]:
    step = doing.step
    reason = _reason(doing, "Write why it is reopened.")
    undo_at_step(step, actor=doing.actor, clock=fixed(doing.now))
    step.readings.all().delete()  # the events keep what was read
    if hasattr(step, "sample"):
        step.sample.delete()
    step.shortage, step.confirmed_by, step.confirmed_why = "", None, ""
    for closed in closed_by(doing.steps, step):
        _close(closed, doing)
    return _stand(doing, OPEN, reason)


def _close(step: JobStep, doing: Act) -> None:
    """Ask for a done step to be confirmed again, as an act of its own: what was shown of it before is out of date."""
    if step.again:
        return
    step.again = True
    step.version += 1
    step.save(update_fields=["again", "version"])
    StepEvent.objects.create(
        id=uuid.uuid4(),
        step=step,
        kind=CLOSE,
        data={"reopened": doing.step.pk},
        base_version=step.version - 1,
        at=doing.now,
        by=doing.actor,
        result=_result(step, APPLIED),
    )


def _skip(doing: Act) -> dict[str, Any]:
    _open_to_work(doing)
    if sentence := why_not_skipped(doing.steps, doing.step):
        raise Refused(sentence)
    return _stand(doing, SKIPPED, _reason(doing, "Write why this is not done."))


def _cannot(doing: Act) -> dict[str, Any]:
    """End the whole operation as not done, at this step."""
    step = doing.step
    end_as_not_done(step=step, why=doing.said("reason"), actor=doing.actor, clock=fixed(doing.now))
    step.version += 1
    step.save(update_fields=["version"])
    return _result(step, APPLIED)


def _note(doing: Act) -> dict[str, Any]:
    text = doing.said("text")
    if not text:
        raise Refused("Write the note first.", "text")
    doing.step.note = "\n".join(filter(None, [doing.step.note, text]))
    doing.step.save(update_fields=["note"])  # no version: what another tablet saw of the step is still so
    return _result(doing.step, APPLIED)


_APPLY: dict[str, Callable[[Act], dict[str, Any]]] = {
    TICK: _tick,
    UNTICK: _untick,
    SKIP: _skip,
    NOTE: _note,
    CONFIRM: _confirm,
    CANNOT: _cannot,
}


def _open_to_work(doing: Act) -> None:
    if sentence := what_holds(doing.steps, doing.step):
        raise Refused(sentence)


def _reason(doing: Act, sentence: str) -> str:
    if not doing.said("reason"):
        raise Refused(sentence, "reason")
    return fitting(doing.said("reason"), 200, "reason")


def _stand(doing: Act, state: str, reason: str) -> dict[str, Any]:
    """Bring the step to its new state and count the act; the first one starts the operation."""
    step, operation = doing.step, doing.step.operation
    step.state, step.reason, step.at, step.by, step.again = state, reason, doing.now, doing.actor, False
    step.version += 1
    step.save()
    if operation.started_at is None:
        operation.started_at, operation.technician = doing.now, doing.actor
    operation.finished_at = None  # what was finished and is changed is to be finished again, and judged anew
    operation.save(update_fields=["started_at", "technician", "finished_at"])
    return _result(step, APPLIED, step.shortage)


def _pours(step: JobStep) -> bool:
    """Whether what is read at the step is drawn as poured: a volume of something kept in liters."""
    need = step.written.need if step.written else None
    return bool(need and need.item and need.item.base_unit == "L")
