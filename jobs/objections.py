"""What a higher app has against an act on a job, such as a deposit that nobody has said what becomes of.

Imports run one way: the verb asks the functions that a higher app registers in its `AppConfig.ready`.
"""

from collections.abc import Callable, Iterator

from jobs.models import Job, Operation

#: Each gives a sentence, or an empty one when nothing is against it.
AgainstCanceling = Callable[[Job], str]
AgainstChanging = Callable[[Operation], str]
AgainstMoving = Callable[[Operation], str]
_canceling: list[AgainstCanceling] = []
_changing: list[AgainstChanging] = []
_moving: list[AgainstMoving] = []


def register(
    *,
    canceling: AgainstCanceling | None = None,
    changing: AgainstChanging | None = None,
    moving: AgainstMoving | None = None,
) -> None:
    """Ask `canceling` before a job is canceled, `changing` before the work of an operation is changed, and `moving`
    too before anything more is drawn for it or brought back."""
    if canceling is not None and canceling not in _canceling:
        _canceling.append(canceling)
    if changing is not None and changing not in _changing:
        _changing.append(changing)
    if moving is not None and moving not in _moving:
        _moving.append(moving)


def to_canceling(job: Job) -> Iterator[str]:
    """What is against canceling a job, one sentence each."""
    yield from filter(None, (objection(job) for objection in _canceling))


def to_changing(operation: Operation) -> Iterator[str]:
    """What is against changing an operation: its words, its lines, its steps, what was drawn for it."""
    yield from filter(None, (objection(operation) for objection in _changing))


def to_moving(operation: Operation) -> Iterator[str]:
    """What is against moving stock between an operation and the shelf."""
    yield from to_changing(operation)
    yield from filter(None, (objection(operation) for objection in _moving))
