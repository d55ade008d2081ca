"""A job as the bay shows it: every operation's steps in words, the open one enlarged. Reads nothing by itself."""

import itertools
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from django.utils.translation import gettext as _

from garage.models import User
from garage.numbers import round_half_up
from garage.templatetags.figures import when
from garage.units import both, convert, typed_unit
from jobs import consent_words, stages
from jobs.consent import DECLINED, Consent, Standing
from jobs.held_words import stop_words, what_holds
from jobs.holding import guarded, held_by, next_open, to_do
from jobs.models import Job, JobStep, Line, Operation, ProcedureRevision, ProcedureStep, Reading, StepEvent
from jobs.queries import Used
from jobs.queries_bay import drained_among
from jobs.readings import Spec, in_both, in_liters, is_volume, out_and_in, shown, spec_of
from jobs.sheet import cores_out
from jobs.taken import amount_of
from jobs.verdict import Verdict, judge
from parts.models import Item

Kind = ProcedureStep.Kind


@dataclass(frozen=True)
class StepRow:
    """A closed step of the list: `state` is done, again, skipped, held or later."""

    step: JobStep
    words: str
    state: str
    number: int

    @property
    def key(self) -> str:
        """The step's number in an address."""
        return str(self.step.pk)

    @property
    def by(self) -> str:
        """Who left it so, and when."""
        if self.step.state == JobStep.State.OPEN or self.step.at is None:
            return ""
        return f"{self.step.by or ''} {when(self.step.at)}".strip()


@dataclass(frozen=True)
class LineRow:
    """Something from the shelf that an operation uses: how much is meant, how much was drawn."""

    line: Line
    meant: str
    drawn: str
    out: Decimal


@dataclass(frozen=True)
class WorkedOperation:
    """An operation in the bay. `why_not` says why it cannot be worked on; empty when it can.

    The procedure's `cautions` stand in full (`warned`) at the first opening and for whoever takes over.
    """

    operation: Operation
    rows: list[StepRow]
    lines: list[LineRow]
    cores: list[Line]
    why_not: str
    cautions: list[str]
    warned: bool
    may_reopen: bool
    said: list[str]
    done: int
    enlarged: JobStep | None

    @property
    def over(self) -> bool:
        """Whether it is folded away: every step was left behind, and none of them is looked at."""
        return self.enlarged is None and self.done == len(self.rows) > 0

    @property
    def before(self) -> list[StepRow]:
        """The steps that were left behind before the open one: folded, so that the open one is in view."""
        if self.enlarged is None:
            return []
        return list(itertools.takewhile(lambda row: row.step != self.enlarged and not to_do(row.step), self.rows))

    @property
    def rest(self) -> list[StepRow]:
        """The steps that are not folded."""
        folded = self.before
        return [row for row in self.rows if row not in folded]


@dataclass(frozen=True)
class Read:
    """A reading that stands: its figure, the same in the other unit, and why it may be outside its limits."""

    figure: str
    other: str
    outside: str


@dataclass(frozen=True)
class OpenStep:
    """The enlarged step and what is shown beside its number."""

    step: JobStep
    spec: Spec | None
    label: str
    of: str
    needs_photo: bool
    held: str
    guarded: bool
    pan: str
    came_out: str
    went_in: str
    readings: list[Read]
    verdict: Verdict | None
    uses: Item | None

    @property
    def forms(self) -> set[str]:
        """The kinds of acts whose forms stand on the page, and `answer`: only there can their errors be read."""
        due = to_do(self.step)
        stands = {
            "tick": due and not self.held,
            "skip": due and not self.guarded and not self.step.again,
            "confirm": due and self.guarded and not self.held,
            "cannot": due,
            "untick": not due,
            "note": True,
            "answer": self.step.stopped,
        }
        return {kind for kind, shown in stands.items() if shown}


@dataclass(frozen=True)
class Work:
    """The whole of a job for the bay."""

    job: Job
    operations: list[WorkedOperation]
    open: OpenStep | None = None
    left: list[str] = field(default_factory=list)
    may_start: bool = False


def work_of(job: Job, consent: Consent, used: dict[int, Used], chosen: int | None = None, *, viewer: User) -> Work:
    """Write out a job that was read with `bay_jobs`, for whoever looks at it.

    `chosen` is the step to enlarge, else the next open one.
    """
    operations = list(job.operations.all())
    enlarged = _enlarged(operations, consent, chosen)
    shown = [
        _operation(row, consent.of(row.pk), used, job, enlarged, viewer)
        for row in operations
        if not _refused(row, consent)
    ]
    work = [row for row in operations if row.pk in consent.workable]
    may_start = stages.may_start(
        job.stage,
        begun=any(row.started_at is not None for row in work),
        left=any(row.finished_at is None for row in work),
    )
    return Work(job, shown, _open_step(enlarged) if enlarged else None, may_start=may_start)


def status_after(work: Work, act: StepEvent) -> str:
    """Say what an act on a step came to and what is next, as short as it can be heard."""
    number = {"number": act.step.position}
    done = {
        StepEvent.Kind.TICK: _("Step %(number)s done.") % number,
        StepEvent.Kind.SKIP: _("Step %(number)s not done.") % number,
        StepEvent.Kind.UNTICK: _("Step %(number)s is open again.") % number,
        StepEvent.Kind.NOTE: _("Note saved."),
        StepEvent.Kind.CONFIRM: _("Step %(number)s confirmed by two.") % number,
        StepEvent.Kind.CANNOT: _("Ended as not done."),
    }[StepEvent.Kind(act.kind)]
    if work.open is None:
        return f"{done} {_('No step is left.')}"
    if work.open.step.pk == act.step_id:
        return done
    return f"{done} {_('Next: %(step)s.') % {'step': str(work.open.step).rstrip('.')}}"


def _refused(operation: Operation, consent: Consent) -> bool:
    return consent.of(operation.pk).state == DECLINED


def why_not(operation: Operation, standing: Standing, job: Job) -> str:
    """Why an operation cannot be worked on now; empty when it can."""
    if not standing.allows_work:
        return consent_words.why_not(standing)
    if operation.not_done_id is not None:
        return _("ended as not done")
    if stages.under_way(job.stage, operation.started_at is not None):
        return ""
    return "not started" if job.stage in (stages.READY, stages.WRITTEN_UP, stages.AWAITING) else job.get_stage_display()


def _enlarged(operations: list[Operation], consent: Consent, chosen: int | None) -> JobStep | None:
    workable = [row for row in operations if not why_not(row, consent.of(row.pk), row.job)]
    if chosen is not None:
        return next((step for operation in workable for step in operation.steps.all() if step.pk == chosen), None)
    nexts = (_next(list(operation.steps.all())) for operation in workable)
    return next((step for step in nexts if step is not None), None)


def _next(steps: list[JobStep]) -> JobStep | None:
    """The step to do next. What stopped the work comes first, then what a reading past its limit asked for."""
    stopped = next((step for step in steps if step.stopped), None)
    if stopped is not None:
        return stopped
    asked = (step for step in steps if step.follows_id and step.state == JobStep.State.OPEN)
    return next((step for step in asked if held_by(steps, step) is None), None) or next_open(steps)


def _operation(
    operation: Operation,
    standing: Standing,
    used: dict[int, Used],
    job: Job,
    enlarged: JobStep | None,
    viewer: User,
) -> WorkedOperation:
    steps = list(operation.steps.all())
    done = sum(not to_do(step) for step in steps)
    revision = operation.revision
    return WorkedOperation(
        operation=operation,
        rows=[StepRow(step, words(step), _state(step, steps), step.position) for step in steps],
        lines=[_line(line, used) for line in operation.lines.all() if line.item is not None],
        cores=[line for line in operation.lines.all() if cores_out(line, operation) > 0],
        why_not=why_not(operation, standing, job),
        cautions=revision.cautions.splitlines() if revision is not None else [],
        warned=_last_at_it(steps) != viewer.pk,
        may_reopen=operation.not_done_id is not None and stages.under_way(job.stage, operation.started_at is not None),
        said=[f"Not authorized: {consent_words.beyond(row)}." for row in standing.beyond if row.line is not None]
        + [said for step in steps for said in _said(step)]
        + [f"{step.title}: {step.shortage}" for step in steps if step.shortage]
        + [sentence for step in steps if (sentence := stop_words(step))],
        done=done,
        enlarged=enlarged if enlarged in steps else None,
    )


def _said(step: JobStep) -> Iterable[str]:
    """What whoever works on the operation must know of a step."""
    if step.confirmed_by is not None:
        named = {"step": step, "second": step.confirmed_by, "why": step.confirmed_why}
        yield _("“%(step)s” was confirmed by %(second)s as a second person: %(why)s") % named


def _last_at_it(steps: list[JobStep]) -> int | None:
    """Who did the last act on an operation's steps; None before the first."""
    acted = [step for step in steps if step.at is not None]
    last = max(acted, key=lambda step: (step.at, step.position), default=None)
    return last.by_id if last is not None else None


def _state(step: JobStep, steps: list[JobStep]) -> str:
    if step.again:
        return "again"
    if step.state != JobStep.State.OPEN:
        return str(step.state)
    return "held" if held_by(steps, step) is not None else "later"


def _line(line: Line, used: dict[int, Used]) -> LineRow:
    out = used[line.pk].quantity if line.pk in used else Decimal(0)
    return LineRow(line, amount_of(line), amount_of(line, out) if out else "", out)


def words(step: JobStep) -> str:
    """A step in one line: what, and what was read, or else what it is to reach."""
    readings = [shown(reading.value, reading.unit, reading.typed) for reading in step.readings.all()]
    spec = spec_of(step.written)
    figure = ", ".join(readings) or (spec.in_a_line if spec and step.state == JobStep.State.OPEN else "")
    hold = " (must be checked first)" if step.hold_point else ""
    reason = f": {step.reason}" if step.state == JobStep.State.SKIPPED else ""
    return f"{step}{f', {figure}' if figure else ''}{hold}{reason}"


def _open_step(step: JobStep) -> OpenStep:
    written, steps = step.written, list(step.operation.steps.all())
    revision = step.operation.revision
    parts = [written.get_kind_display() if written else "check"]
    parts += [written.tool] if written and written.tool else []
    spec = spec_of(written)
    drained = drained_among(row for row in steps if row.position < step.position)
    return OpenStep(
        step=step,
        spec=spec,
        held=what_holds(steps, step) if to_do(step) else "",
        guarded=guarded(steps, step),
        label=" · ".join([*parts, _("must check first")] if step.hold_point else parts),
        of=f"Step {step.position} of {len(steps)}",
        needs_photo=bool(written and written.kind == Kind.PHOTO and not step.photos.all()),
        pan=pan(revision, spec) if _drains_now(step) and revision else "",
        came_out=_came_out(drained, spec) if drained is not None and written and written.kind == Kind.FILL else "",
        went_in=_went_in(step, drained),
        readings=[_read(reading) for reading in step.readings.all()],
        verdict=_verdict(step),
        uses=_uses(step),
    )


def _uses(step: JobStep) -> Item | None:
    """What the step draws from the shelf: the item on the sheet, which may have replaced the procedure’s own."""
    need = step.written.need if step.written else None
    if need is None or need.item is None:
        return None
    return next((line.item for line in step.operation.lines.all() if line.need_id == need.pk), need.item)


def _read(reading: Reading) -> Read:
    figure, _dot, other = shown(reading.value, reading.unit, reading.typed).partition(" · ")
    outside = f"{_side(reading)}: {reading.reason}" if reading.reason else ""
    return Read(figure, other, outside)


def _side(reading: Reading) -> str:
    """Which limit a reading lies beyond: `above the limit of 43 N·m (31.7 ft·lb)`."""
    limit = reading.high if reading.verdict == Reading.Verdict.HIGH else reading.low
    said = str(reading.get_verdict_display())
    return (
        said if limit is None else f"{said} of {in_both(limit, reading.unit, typed_unit(reading.typed, reading.unit))}"
    )


def _verdict(step: JobStep) -> Verdict | None:
    sample = getattr(step, "sample", None)
    return judge(sample.seen) if sample else None


def _drains_now(step: JobStep) -> bool:
    return step.state == JobStep.State.OPEN and step.written is not None and step.written.kind == Kind.DRAIN


def pan(revision: ProcedureRevision, spec: Spec | None) -> str:
    """How much the vessel under the drain must hold: the most that can come, which is all the unit holds.

    Where that is not known, the upper limit of what is read, else what drains at a change.
    """
    highest = in_liters(spec.high, spec.unit) if spec is not None and spec.high is not None else None
    most = max(filter(None, (revision.capacity, highest, revision.drain)), default=None)
    if most is None:
        return ""
    unit = spec.unit if spec is not None else "L"
    return both(round_half_up(convert(most, "L", unit), 2), unit, 2)


def _came_out(drained: Decimal, spec: Spec | None) -> str:
    """What came out, first in the unit of what goes in."""
    unit = spec.unit if spec and is_volume(spec.unit) else "L"
    return both(round_half_up(convert(drained, "L", unit), 2), unit, 2)


def _went_in(step: JobStep, drained: Decimal | None) -> str:
    """For a filling that is done: what came out and what went in."""
    readings = list(step.readings.all())
    if drained is None or not readings or step.written is None or step.written.kind != Kind.FILL:
        return ""
    return out_and_in(drained, in_liters(readings[-1].value, readings[-1].unit))
