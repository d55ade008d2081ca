"""The final look before a job is finished: what is looked at, whether one stands, and who may take it."""

from collections.abc import Iterable

from django.utils.translation import gettext as _

from garage import shop
from garage.ledger import digest
from garage.models import Role, User
from jobs.models import FinalLook, Job, JobStep, Operation


def looked_at() -> str:
    """What whoever takes the final look answers for."""
    return _(
        "plugs and filter tight and dry, levels right, wheels torqued, nothing left under the hood or on the car, "
        "no warning light on"
    )


def mark_of(operations: Iterable[Operation]) -> str:
    """A digest of the work as it stands: any later act on a step and any work added or taken off is another one."""
    return digest(
        [
            [operation.pk, operation.not_done_id, operation.correction, [_mark(step) for step in operation.steps.all()]]
            for operation in sorted(operations, key=lambda operation: operation.pk)
        ]
    )


def _mark(step: JobStep) -> list[object]:
    return [step.pk, step.state, step.version, step.note]


def standing(job: Job, operations: Iterable[Operation]) -> FinalLook | None:
    """The final look that holds for the work of a job as it stands, all its operations with their steps; or None.

    One that was taken alone holds no longer once the shop asks for another person's.
    """
    last = job.final_looks.select_related("by").last()
    rows = list(operations)
    if last is None or last.work != mark_of(rows):
        return None
    alone = not last.reason and asks_another([row for row in rows if row.started_at or row.correction], last.by)
    return None if alone else last


def worked(operations: Iterable[Operation]) -> set[int]:
    """Who worked on some operations, by primary key: whose act stands on a step, or who had the free work."""
    people: set[int | None] = set()
    for operation in operations:
        steps = [step for step in operation.steps.all() if step.state != JobStep.State.OPEN]
        people |= {step.by_id for step in steps} if steps else {operation.technician_id or operation.job.technician_id}
    return {person for person in people if person is not None}


def asks_another(operations: Iterable[Operation], person: User | None) -> bool:
    """Whether the shop asks for another person's look than this one's; the owner may take it alone, with a reason."""
    return shop.profile().second_look and (person is None or person.pk in worked(operations))


def may_alone(person: User | None) -> bool:
    """Whether this person may look alone where the shop asks for another."""
    return person is not None and person.role == Role.OWNER
