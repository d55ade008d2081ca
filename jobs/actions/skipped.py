"""Saying what was done on an operation some of whose steps were skipped, before it is billed."""

from garage import audit
from garage.clock import Clock
from garage.errors import Refused
from garage.models import User
from garage.writing import writing
from jobs import skipped
from jobs.actions.writing_up import counted, editable
from jobs.models import Operation, SkippedAnswer


@writing()
def answer_skipped(
    *, operation: Operation, choice: str, words: str, seen: str = "", actor: User | None, clock: Clock
) -> SkippedAnswer:
    """Record how an operation with skipped steps is billed, and what was done instead; the same again changes nothing.

    `seen` marks the steps that were shown (`skipped.mark_of`). Raises Refused, naming the field, without a choice or
    words, for an operation without skipped steps, and when a step changed since it was seen.
    """
    now = clock()
    operation = Operation.objects.select_related("job").prefetch_related("steps", "lines").get(pk=operation.pk)
    editable(operation.job, operation)
    if not skipped.skipped_some(operation):
        raise Refused(f"“{operation}” is not work of which steps were skipped: nothing is asked about it.")
    mark = skipped.mark_of(operation)
    if seen and seen != mark:
        raise Refused("A step changed meanwhile: look at what was skipped, then say it again.")
    if choice not in SkippedAnswer.Choice.values:
        raise Refused("Choose how it is billed.", "choice")
    if not words.strip():
        raise Refused("Write what was done instead, or why.", "words")
    last = operation.skipped_answers.last()
    if last is not None and (last.choice, last.words, last.steps) == (choice, words.strip(), mark):
        return last
    answer = SkippedAnswer.objects.create(
        operation=operation,
        choice=choice,
        words=words.strip(),
        steps=mark,
        net=skipped.net_as_used(operation),
        at=now,
        by=actor,
    )
    audit.record("said what was done", operation, actor=actor, now=now, choice=choice, words=answer.words)
    counted(operation.job, actor, now)
    return answer
