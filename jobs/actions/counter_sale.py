"""What is handed over at the counter: a sale's lines written up and drawn from the shelf in one act.

The sale is a job of a kind of its own, without a car, a bay and an estimate: work that is bought by being handed over
(`consent.sold`). What was sold is billed at once by the verb that calls this one; here nothing is known of papers.
"""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from garage import audit, counters, units
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.models import Customer, User
from garage.writing import writing
from jobs import showing, stages
from jobs.actions.draws import hand_over, settle_taking
from jobs.actions.writing_up import save_line
from jobs.models import Job, Line, Operation, StageChange
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
    as_it_is: str = "",
    actor: User | None,
    clock: Clock,
) -> Job:
    """Write up and draw what somebody buys over the counter; the sale then waits for its invoice.

    `lines` are fields as `save_line` takes them. Raises Refused, beside the field of the line (`lines-1-quantity`), for
    what cannot be sold this way and for what the shelf does not have; asks about what was opened too long ago.
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
    written = [_write(operation, fields, at, actor, now) for at, fields in enumerate(lines)]
    fresh = settle_taking([(line, line.base_quantity) for line in written], as_it_is, now)
    for at, line in enumerate(written):
        _hand_over(line, fresh, at, actor, now)
    audit.record("opened", job, actor=actor, now=now, lines=len(lines))
    return job


def _write(operation: Operation, fields: Mapping[str, Any], at: int, actor: User | None, now: dt.datetime) -> Line:
    """Write one line; a refusal stands beside it."""
    try:
        return save_line(operation=operation, fields=fields, actor=actor, clock=fixed(now))
    except Refused as error:
        name = "unit_price" if error.field == "unit_price" else "quantity"
        raise Refused(str(error), f"lines-{at}-{name}") from error


def _hand_over(line: Line, fresh: bool, at: int, actor: User | None, now: dt.datetime) -> None:
    """Draw one line; a refusal stands beside it."""
    try:
        hand_over(line=line, fresh=fresh, actor=actor, clock=fixed(now))
    except Shortage as error:
        base = error.item.base_unit
        there = error.there if base == line.unit else units.convert(error.there, base, line.unit)
        raise Refused(f"Only {showing.quantity(there, line.unit)[0]} on the shelf.", f"lines-{at}-quantity") from error
