"""Writing off what of an operation nobody authorized, and taking that back: lines below zero, one a tax class."""

from decimal import Decimal

from django.db.models import Max

from garage import audit
from garage.clock import Clock
from garage.models import User
from garage.texts import shortened
from garage.writing import writing
from jobs import objections, queries
from jobs.actions.writing_up import counted, editable
from jobs.models import Finer, Job, Line, LineKind, Operation
from jobs.write_offs import TakenOff


@writing()
def write_off(*, operation: Operation, off: tuple[TakenOff, ...], actor: User | None, clock: Clock) -> list[Line]:
    """Take amounts off an operation, in place of what was written off before; the lines, one for each tax class.

    Called by the verb that works the amounts out, within its transaction.
    """
    now = clock()
    editable(operation.job, operation)
    queries.write_offs(operation.job).filter(operation=operation).delete()
    last = operation.lines.aggregate(last=Max("position"))["last"] or 0
    lines = [
        Line.objects.create(
            operation=operation,
            position=last + place,
            kind=LineKind.CHARGE,
            finer=Finer.WRITE_OFF,
            description=_described(row),
            quantity=Decimal(1),
            base_quantity=Decimal(1),
            unit="each",
            unit_price=-row.amount,
            tax_class=row.tax_class,
        )
        for place, row in enumerate(off, start=1)
    ]
    net = sum((row.amount for row in off), Decimal("0.00"))
    audit.record("wrote off", operation, actor=actor, now=now, job=operation.job_id, amount=str(net))
    counted(operation.job, actor, now)
    return lines


@writing()
def take_back_write_offs(*, job: Job, actor: User | None, clock: Clock) -> Decimal:
    """Charge again what was written off on a job and is not billed; what it came to before tax, above zero."""
    now = clock()
    editable(job)
    lines = [line for line in queries.write_offs(job) if not any(objections.to_changing(line.operation))]
    Line.objects.filter(pk__in=[line.pk for line in lines]).delete()
    counted(job, actor, now)
    return -sum((line.unit_price for line in lines), Decimal("0.00"))


def _described(row: TakenOff) -> str:
    """What the customer reads on the invoice."""
    if not row.names:
        return "Not charged: more than was authorized"
    said = f"Not charged, as it was not authorized: {', '.join(row.names)}"
    more = ", and what is above the authorized amount" if row.above else ""
    return shortened(said, 200 - len(more)) + more
