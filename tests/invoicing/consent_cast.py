"""What the tests of consent do to a job: edits, removals, answers, and how it stands after them."""

from decimal import Decimal

from garage.clock import fixed
from garage.models import AuditEntry
from invoicing import drafts, promises
from invoicing.drafts import DraftInvoice
from invoicing.models import Authorization
from invoicing.standing import standing_of
from jobs import queries as jobs_queries
from jobs.actions.removing import put_back, remove_line, remove_operation
from jobs.actions.stages import offer_again
from jobs.actions.writing_up import save_line
from jobs.models import Job, Line, Operation
from tests.invoicing.cast import Garage

D = Decimal
YES, NO, BACK = ("authorized", ""), ("declined", "too dear"), ("withdrawn", "sells the car")


def change(garage: Garage, line: Line, **fields: object) -> None:
    save_line(operation=line.operation, line=line, fields=fields, actor=garage.actor, clock=fixed(garage.now))


def take_off(garage: Garage, row: Line | Operation) -> AuditEntry:
    if isinstance(row, Line):
        return remove_line(line=row, actor=garage.actor, clock=fixed(garage.now))
    return remove_operation(operation=row, although_authorized=True, actor=garage.actor, clock=fixed(garage.now))


def back_on(garage: Garage, entry: AuditEntry) -> None:
    put_back(entry=entry, actor=garage.actor, clock=fixed(garage.now))


def again(garage: Garage, operation: Operation) -> None:
    offer_again(operation=operation, actor=garage.actor, clock=fixed(garage.now))


def say(
    garage: Garage, job: Job, operation: Operation, said: tuple[str, str], limit: str | None = None
) -> Authorization:
    estimate = garage.estimate(job)
    return garage.authorize(estimate, decisions={operation.pk: said}, limit=D(limit) if limit is not None else None)


def drafted(job: Job) -> DraftInvoice:
    sheet = jobs_queries.sheets().get(pk=job.pk)
    return drafts.draft(sheet, sheet.stage_since.date())


def next_act(garage: Garage, job: Job) -> str:
    return standing_of(jobs_queries.sheets().get(pk=job.pk), garage.today).next_act


def sound() -> bool:
    return [*promises.billed_was_authorized(), *promises.authorizations_sealed()] == []


def operations(job: Job) -> list[Operation]:
    return list(job.operations.order_by("position"))
