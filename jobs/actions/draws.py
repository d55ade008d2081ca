"""Drawing from the shelf for a job, at a step or for a line, and bringing back what was not used."""

import datetime as dt
import uuid
from collections.abc import Iterable
from decimal import Decimal

from garage import audit
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.idempotency import once
from garage.models import User
from garage.units import both
from garage.writing import writing
from jobs import objections, stages
from jobs.consent_words import all_beyond
from jobs.consents import consent_of
from jobs.models import Draw, Job, JobStep, Line
from jobs.queries import Used, used_on
from parts.actions import stock
from parts.queries import chain_on_hand, drawn_net


@writing()
def draw_at_step(step: JobStep, filled: Decimal | None, typed: str, *, actor: User | None, clock: Clock) -> str:
    """Draw what a step uses, and return what the shelf lacked as a sentence (empty: nothing lacked).

    A poured amount (`filled`, in the item's unit) is drawn as poured; anything else is drawn up to the quantity on
    its line, so that two steps with one pair of washers take it once. The work is done: a shortage never stops it.
    """
    now = clock()
    need = step.written.need if step.written else None
    if need is None or need.item is None:
        return ""
    line = line_used(step)
    if line is None or line.item is None:
        return f"{need.item} has no line on this operation: nothing was taken from the shelf."
    quantity = filled if filled is not None else line.base_quantity - used_on(line).quantity
    lacked = _take(line, quantity, typed, step=step, actor=actor, now=now) if quantity > 0 else Decimal(0)
    if not lacked:
        return ""
    unit = line.item.base_unit
    return f"{both(quantity, unit)} of {line.item} used, the shelf lacked {both(lacked, unit)} of it."


def line_used(step: JobStep) -> Line | None:
    """The line on the sheet of what a step uses; None when it uses nothing, or that was taken off the sheet."""
    need = step.written.need if step.written else None
    if need is None:
        return None
    return step.operation.lines.filter(need=need).select_related("item").order_by("pk").first()


@writing()
def undo_at_step(step: JobStep, *, actor: User | None, clock: Clock) -> None:
    """Bring back to the shelf what was drawn at a step and is still out."""
    now = clock()
    _bring_back(step.draws.all(), None, f"{step.operation.job}: step undone", actor, now)


@once("jobs.draw_for_line", Line)
def draw_for_line(
    *, key: uuid.UUID, line: Line, quantity: Decimal, typed: str = "", actor: User | None, clock: Clock
) -> Line:
    """Draw more for a line, in its item's base unit; refused when the shelf does not have it (Shortage)."""
    now = clock()
    _may_move(line, stages.IN_BAY)
    _may_be_used(line)
    _draw(line, quantity, typed, actor, now)
    audit.record("drew for a line", line, actor=actor, now=now, quantity=str(quantity), typed=typed)
    return line


@writing()
def hand_over(*, line: Line, actor: User | None, clock: Clock) -> Line:
    """Draw what a line of a counter sale says; refused when the shelf lacks it (Shortage), and for a line of a job."""
    now = clock()
    if not line.operation.job.is_sale:
        raise Refused(f"“{line}” is part of a job: take it in the bay.")
    _may_be_used(line)
    _draw(line, line.base_quantity, line.typed, actor, now)
    return line


def _draw(line: Line, quantity: Decimal, typed: str, actor: User | None, now: dt.datetime) -> None:
    assert line.item is not None  # asked by the caller
    for movement in stock.draw(
        item=line.item, quantity=quantity, reason=_reason(line), typed=typed, actor=actor, clock=fixed(now)
    ):
        Draw.objects.create(line=line, movement=movement)


@once("jobs.return_from_line", Line)
def return_from_line(
    *, key: uuid.UUID, line: Line, quantity: Decimal, typed: str = "", actor: User | None, clock: Clock
) -> Line:
    """Bring unused stock of a line back to its containers, the last drawn first; refused above what is out."""
    now = clock()
    _may_move(line, stages.IN_BAY, stages.FINISHED)
    assert line.item is not None
    out = used_on(line).quantity
    if not 0 < quantity <= out:
        raise Refused(f"{both(out, line.item.base_unit)} was taken for this line.", "quantity")
    _bring_back(line.draws.all(), quantity, f"{line.operation.job}: not used", actor, now, typed)
    audit.record("brought back from a line", line, actor=actor, now=now, quantity=str(quantity), typed=typed)
    return line


@writing()
def return_billed(*, line: Line, quantity: Decimal, typed: str, reason: str, actor: User | None, clock: Clock) -> Used:
    """Bring back to its containers what was billed and is credited, in the item's base unit; what it was worth.

    Called within the transaction of the credit. Raises Refused above what is still out.
    """
    now = clock()
    before = used_on(line)
    if not 0 < quantity <= before.quantity:
        raise Refused(f"Only {before.quantity:f} of “{line}” is still out.")
    _bring_back(line.draws.all(), quantity, reason, actor, now, typed)
    after = used_on(line)
    audit.record("credited goods returned", line, actor=actor, now=now, quantity=str(quantity), typed=typed)
    return Used(before.quantity - after.quantity, before.cost - after.cost)


def _may_move(line: Line, *allowed: str) -> None:
    """Refuse what would move stock for a job that is not at work."""
    job = Job.objects.get(operations__lines=line)
    if job.stage not in allowed:
        raise Refused(f"{job} is {job.get_stage_display()}: nothing moves between it and the shelf now.")
    if line.item is None:
        raise Refused(f"“{line}” is nothing from the shelf.")
    for sentence in objections.to_moving(line.operation):
        raise Refused(sentence)


def _may_be_used(line: Line) -> None:
    """Refuse what the customer did not agree to: the work, or this part."""
    standing = consent_of(line.operation.job).of(line.operation_id)
    if not standing.allows_work:
        raise Refused(f"“{line.operation}” is not authorized: nothing is taken for it.")
    if not standing.allows_line(line.pk):
        raise Refused(f"“{line}” is not what the customer authorized: ask them first ({all_beyond(standing)}).")


def _reason(line: Line) -> str:
    return f"{line.operation.job}: {line.operation}"


def _take(line: Line, quantity: Decimal, typed: str, *, step: JobStep, actor: User | None, now: dt.datetime) -> Decimal:
    """Draw a line's item, or as much of it as there is; give back how much was lacking."""
    assert line.item is not None
    lacked = max(quantity - chain_on_hand(line.item), Decimal(0))
    if quantity > lacked:
        movements = stock.draw(
            item=line.item, quantity=quantity - lacked, reason=_reason(line), typed=typed, actor=actor, clock=fixed(now)
        )
        Draw.objects.bulk_create(Draw(line=line, movement=movement, step=step) for movement in movements)
    return lacked


def _bring_back(
    draws: Iterable[Draw],
    quantity: Decimal | None,
    reason: str,
    actor: User | None,
    now: dt.datetime,
    typed: str = "",
) -> None:
    """Bring `quantity` (None: all that is out) of some draws back, the last first; a whole draw is simply undone."""
    left = quantity
    for draw in sorted(draws, key=lambda draw: draw.movement_id, reverse=True):
        movement = draw.movement
        out = Decimal(0) if hasattr(movement, "reversed_by") else drawn_net(movement)[0]
        part = out if left is None else min(left, out)
        if part <= 0:
            continue
        if part == -movement.quantity and stock.has_room(movement.container, part):
            stock.reverse(movement=movement, reason=reason, actor=actor, clock=fixed(now))
        else:
            stock.give_back(draws=[movement], quantity=part, reason=reason, typed=typed, actor=actor, clock=fixed(now))
        left = None if left is None else left - part
