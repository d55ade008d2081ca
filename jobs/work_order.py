"""A job as a sheet of paper: each step with a box, its target and a blank for the reading. Reads nothing by itself."""

from dataclasses import dataclass

from garage.units import label
from jobs.bay_sheet import pan, why_not
from jobs.consent import DECLINED, Consent
from jobs.fluids import FLUIDS
from jobs.holding import to_do
from jobs.models import Job, JobStep, Line, Operation, ProcedureStep
from jobs.readings import Spec, shown, spec_of
from jobs.taken import amount_of

Kind = ProcedureStep.Kind


@dataclass(frozen=True)
class PaperStep:
    """A step on paper: `read` is what was read of it already; without it there is a blank in `unit`."""

    step: JobStep
    spec: Spec | None
    unit: str
    read: str

    @property
    def seen(self) -> list[str]:
        """What is looked at and measured of this fluid at a sample step; nothing at any other."""
        written = self.step.written
        if written is None or written.kind != Kind.SAMPLE:
            return []
        fluid = FLUIDS[written.revision.fluid_kind]
        return [name.replace("_", " ") for name in (*fluid.words, *fluid.measured)]

    @property
    def left(self) -> bool:
        """Whether it is still to be done, or confirmed again."""
        return to_do(self.step)


@dataclass(frozen=True)
class PaperOperation:
    """An operation on paper; `why_not` says why it may not be worked on."""

    operation: Operation
    why_not: str
    cautions: list[str]
    pan: str
    steps: list[PaperStep]
    lines: list[tuple[Line, str]]


def paper_of(job: Job, consent: Consent) -> list[PaperOperation]:
    """Write out what is to be done on a job that was read with `bay_jobs`; what was declined is left out."""
    return [
        _operation(row, why_not(row, consent.of(row.pk), job) if row.pk not in consent.workable else "")
        for row in job.operations.all()
        if consent.of(row.pk).state != DECLINED
    ]


def _operation(operation: Operation, closed: str) -> PaperOperation:
    revision, steps = operation.revision, [_step(step) for step in operation.steps.all()]
    drains = next((row.spec for row in steps if row.step.written and row.step.written.kind == Kind.DRAIN), None)
    return PaperOperation(
        operation=operation,
        why_not=closed,
        cautions=revision.cautions.splitlines() if revision else [],
        pan=pan(revision, drains) if revision and drains else "",
        steps=steps,
        lines=[(line, amount_of(line)) for line in operation.lines.all() if line.item is not None],
    )


def _step(step: JobStep) -> PaperStep:
    spec = spec_of(step.written)
    read = ", ".join(shown(reading.value, reading.unit, reading.typed) for reading in step.readings.all())
    return PaperStep(step, spec, label(spec.unit) if spec else "", read)
