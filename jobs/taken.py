"""What a line's goods come to: taken at its steps and by hand, poured, lacking, and to be returned.

One need is taken from the shelf once: what somebody took by hand for a line is what the filling pours.
"""

from dataclasses import dataclass
from decimal import Decimal

from garage.forms_fields import plain_text
from garage.numbers import round_half_up
from garage.units import both, convert
from jobs import amounts
from jobs.models import Job, JobStep, Line
from jobs.readings import in_liters, is_volume
from parts.queries import drawn_net

ZERO = Decimal(0)


@dataclass(frozen=True)
class Taken:
    """Of one line, in its item's base unit: out at steps and by hand; `poured` is None where nothing is measured."""

    planned: Decimal
    at_steps: Decimal
    by_hand: Decimal
    poured: Decimal | None

    @property
    def at_hand(self) -> Decimal:
        """What was taken by hand and is not poured yet: the next filling takes it first."""
        return max(self.by_hand - max((self.poured or ZERO) - self.at_steps, ZERO), ZERO)

    @property
    def lacking(self) -> Decimal:
        """What was poured, or else is planned, and has not been taken from the shelf."""
        used = self.planned if self.poured is None else self.poured
        return max(used - self.at_steps - self.by_hand, ZERO)


def taken_of(line: Line, without: JobStep | None = None) -> Taken:
    """What a line's goods come to, leaving out one step: the one that is being done."""
    at_steps = by_hand = ZERO
    for draw in line.draws.exclude(step=without) if without else line.draws.all():
        movement = draw.movement
        out = ZERO if hasattr(movement, "reversed_by") else drawn_net(movement)[0]
        if draw.step_id is None:
            by_hand += out
        else:
            at_steps += out
    return Taken(line.base_quantity, at_steps, by_hand, _poured(line, without))


def amount_of(line: Line, quantity: Decimal | None = None) -> str:
    """A quantity in the base unit, or all that is planned, in the line's own unit first: `2.50 qt · 2.37 L`."""
    value = line.base_quantity if quantity is None else quantity
    base = amounts.base_unit(line.unit)
    return both(round_half_up(convert(value, base, line.unit), 2), line.unit, 2) if base == "L" else plain_text(value)


def _poured(line: Line, without: JobStep | None) -> Decimal | None:
    if line.item is None or line.item.base_unit != "L" or line.need_id is None:
        return None
    steps = line.operation.steps.filter(written__need=line.need_id, state=JobStep.State.DONE)
    readings = [
        reading
        for step in steps.prefetch_related("readings")
        if without is None or step.pk != without.pk
        for reading in step.readings.all()
        if is_volume(reading.unit)
    ]
    return sum((in_liters(reading.value, reading.unit) for reading in readings), ZERO) if readings else None


def left_over(job: Job) -> list[tuple[Line, Decimal]]:
    """What was taken by hand for a job's fillings and not filled, by line: it belongs back on the shelf."""
    lines = Line.objects.filter(operation__job=job, item__base_unit="L", need__isnull=False, draws__step=None)
    rows = [(line, _left_over(line)) for line in lines.exclude(draws=None).select_related("item").distinct()]
    return [(line, left) for line, left in rows if left]


def _left_over(line: Line) -> Decimal:
    """What was taken by hand and is left over once every step that uses it was left behind."""
    steps = line.operation.steps.filter(written__need=line.need_id)
    if not steps.exists() or steps.filter(state=JobStep.State.OPEN).exists():
        return ZERO
    taken = taken_of(line)
    return taken.at_hand if taken.poured is not None else ZERO
