"""What a higher app has against canceling a job, such as a deposit that nobody has said what becomes of.

Imports run one way: the verb that cancels asks the functions that a higher app registers in its `AppConfig.ready`.
"""

from collections.abc import Callable, Iterator

from jobs.models import Job

#: Gives a sentence, or an empty one when nothing is against it.
Objection = Callable[[Job], str]
_objections: list[Objection] = []


def register(objection: Objection) -> None:
    """Ask `objection` before a job is canceled."""
    if objection not in _objections:
        _objections.append(objection)


def to_canceling(job: Job) -> Iterator[str]:
    """What is against canceling a job, one sentence each."""
    yield from filter(None, (objection(job) for objection in _objections))
