"""Operations some of whose steps were skipped: what the counter must say of them, and has said."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from garage.ledger import digest
from jobs import not_done, queries
from jobs.amounts import amount, base_unit, charged_quantity
from jobs.models import JobStep, Line, Operation, SkippedAnswer

OPEN, SKIPPED = JobStep.State.OPEN, JobStep.State.SKIPPED


@dataclass(frozen=True)
class Asked:
    """An operation with skipped steps: those steps, and what was said of them as they stand."""

    operation: Operation
    skipped: tuple[JobStep, ...]
    answer: SkippedAnswer | None

    @property
    def not_billed(self) -> bool:
        """Whether it was said that the operation is not billed."""
        return self.answer is not None and self.answer.choice == SkippedAnswer.Choice.NONE

    @property
    def billed(self) -> bool:
        """Whether it was said that the operation is billed, as written or less."""
        return self.answer is not None and not self.not_billed

    @property
    def problem(self) -> str:
        """What keeps the operation from being billed, in a sentence; empty when nothing does.

        One of which nothing was ticked is not billed without an answer, and keeps nothing else back.
        """
        if self.answer is None:
            if len(self.skipped) == len(self.operation.steps.all()):
                return ""
            left = "it ended as not done" if self.operation.not_done_id else "steps of it were skipped"
            return f"“{self.operation}”: {left}. Write what was done, and how it is billed."
        if self.answer.choice == SkippedAnswer.Choice.LESS and net_as_used(self.operation) >= self.answer.net:
            return f"“{self.operation}” is to be billed less: lower its hours, quantities or prices on the job first."
        return ""

    @property
    def said(self) -> str:
        """What the customer reads of it: the steps not done and why, and what was done instead."""
        if self.operation.not_done is not None:
            return f"{not_done.said(self.operation)} {self.answer.words if self.answer else ''}".strip()
        skipped = "; ".join(f"“{step}” ({step.reason})" for step in self.skipped)
        return f"Not done: {skipped}. {self.answer.words if self.answer else ''}".strip()


def skipped_some(operation: Operation) -> bool:
    """Whether work on an operation is over, with some of its steps skipped or all of them, or it ended as not done."""
    if operation.not_done_id is not None:
        return True
    states = {step.state for step in operation.steps.all()}
    return OPEN not in states and SKIPPED in states


def asked(operations: Iterable[Operation]) -> dict[int, Asked]:
    """What is asked of the operations with skipped steps, by their primary key; one query, and none without any."""
    parts = [operation for operation in operations if skipped_some(operation)]
    if not parts:
        return {}
    rows = SkippedAnswer.objects.filter(operation__in=parts).select_related("by").order_by("pk")
    last = {row.operation_id: row for row in rows}
    return {operation.pk: _asked(operation, last.get(operation.pk)) for operation in parts}


def _asked(operation: Operation, last: SkippedAnswer | None) -> Asked:
    left = (SKIPPED,) if operation.not_done_id is None else (OPEN, SKIPPED)
    skipped = tuple(step for step in operation.steps.all() if step.state in left)
    return Asked(operation, skipped, last if last is not None and last.steps == mark_of(operation) else None)


def mark_of(operation: Operation) -> str:
    """A digest of the steps as they stand; a note on one leaves it as it is."""
    steps = [[step.pk, step.state, step.reason, step.at and step.at.isoformat()] for step in operation.steps.all()]
    return digest([operation.not_done_id, *steps])


def net_of(operation: Operation) -> Decimal:
    """What an operation's lines come to as written, before tax."""
    nets = (amount(line.quantity, line.unit_price, line.discount) for line in operation.lines.all())
    return sum(nets, Decimal("0.00"))


def net_as_used(operation: Operation) -> Decimal:
    """What an operation's lines come to before tax with what was drawn in place of what was written, as it is billed.

    A need that nobody wrote as used is not in it.
    """
    lines = [line for line in operation.lines.all() if line.item_id or not line.if_needed]
    used = queries.used(line for line in lines if line.item_id)
    nets = (amount(_quantity(line, used), line.unit_price, line.discount) for line in lines)
    return sum(nets, Decimal("0.00"))


def _quantity(line: Line, used: Mapping[int, queries.Used]) -> Decimal:
    drawn = used.get(line.pk, queries.NOTHING).quantity
    if line.item_id is None or drawn == line.base_quantity:
        return line.quantity
    return charged_quantity(drawn, base_unit(line.unit), line.unit)
