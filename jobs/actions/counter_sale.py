"""What is handed over at the counter: a sale's lines written up and drawn from the shelf in one act.

The sale is a job of a kind of its own, without a car, a bay and an estimate: work that is bought by being handed over
(`consent.sold`). What was sold is billed at once by the verb that calls this one; here nothing is known of papers.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from garage import audit, counters, units
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.models import Customer, User
from garage.writing import writing
from jobs import showing, stages
from jobs.actions.draws import hand_over
from jobs.actions.writing_up import save_line
from jobs.models import Job, Operation, StageChange
from jobs.sold import over_the_counter
from parts.actions.stock import Shortage

TITLE = "Parts and fluids"

WORK_MAKES_A_JOB = "Labor and sublet work make it a job: open a new visit and write the work up there."


@writing()
def open_sale(
    *,
    lines: Sequence[Mapping[str, Any]],
    customer: Customer,
    order_number: str = "",
    actor: User | None,
    clock: Clock,
) -> Job:
    """Write up and draw what somebody buys over the counter; the sale then waits for its invoice.

    `lines` are fields as `save_line` takes them. Raises Refused, beside the field of the line (`lines-1-quantity`), for
    what cannot be sold this way and for what the shelf does not have.
    """
    now = clock()
    if not lines:
        raise Refused("Nothing is on the sheet yet: find what is sold and add it.")
    for at, fields in enumerate(lines):
        if not over_the_counter(str(fields["kind"]), str(fields.get("finer", ""))):
            raise Refused(WORK_MAKES_A_JOB, f"lines-{at}-quantity")
        if fields.get("item") is None:
            raise Refused("What is sold at the counter comes from the shelf: choose an item.", f"lines-{at}-quantity")
    job = Job(kind=Job.Kind.SALE, customer=customer, order_number=order_number, created_by=actor)
    job.stage, job.stage_since, job.received_at, job.finished_at = stages.FINISHED, now, now, now
    job.number = counters.allocate("jobs")
    job.save(force_insert=True)
    StageChange.objects.create(job=job, stage=job.stage, at=now, by=actor)
    operation = Operation.objects.create(job=job, position=1, title=TITLE, started_at=now, finished_at=now)
    for at, fields in enumerate(lines):
        _sell(operation, fields, at, actor, clock)
    audit.record("opened", job, actor=actor, now=now, lines=len(lines))
    return job


def _sell(operation: Operation, fields: Mapping[str, Any], at: int, actor: User | None, clock: Clock) -> None:
    """Write one line and draw it; a refusal stands beside that line."""
    now = clock()
    try:
        line = save_line(operation=operation, fields=fields, actor=actor, clock=fixed(now))
    except Refused as error:
        name = "unit_price" if error.field == "unit_price" else "quantity"
        raise Refused(str(error), f"lines-{at}-{name}") from error
    try:
        hand_over(line=line, actor=actor, clock=fixed(now))
    except Shortage as error:
        base = error.item.base_unit
        there = error.there if base == line.unit else units.convert(error.there, base, line.unit)
        raise Refused(f"Only {showing.quantity(there, line.unit)[0]} on the shelf.", f"lines-{at}-quantity") from error
