"""Drawing from the shelf for a job, at a step or for a line, and bringing back what was not used."""

import datetime as dt
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from garage import audit
from garage.asking import instead_taken, settle
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.idempotency import once
from garage.models import User
from garage.templatetags.figures import day
from garage.units import both
from garage.writing import writing
from jobs import objections, stages
from jobs.consent_words import all_beyond
from jobs.consents import consent_of
from jobs.models import Draw, Job, JobStep, Line
from jobs.queries import Used, used_on
from jobs.readings import FAR
from jobs.taken import amount_of, taken_of
from parts.actions import stock
from parts.models import Item
from parts.queries import chain_on_hand, drawn_net, to_draw_fresh, too_old_among

#: The other way where a container stands open for too long.
NEW_ONE = gettext_lazy("Open a new one")


@dataclass(frozen=True)
class Taking:
    """What a step takes from the shelf: so much of a line's item, and how much is used of it in all."""

    line: Line
    quantity: Decimal
    used: Decimal


def taking_at(step: JobStep, poured: Decimal | None) -> Taking | None:
    """What a step takes when it is done; None when it uses nothing from the shelf.

    A poured amount (in the item's unit) is taken as poured, less what was taken by hand for it before; anything else
    up to the quantity on its line, so that two steps with one pair of washers take it once.
    """
    line = line_used(step)
    if line is None or line.item is None:
        return None
    taken = taken_of(line, without=step)
    if poured is None:
        return Taking(line, line.base_quantity - taken.at_steps - taken.by_hand, line.base_quantity)
    return Taking(line, max(poured - taken.at_hand, Decimal(0)), poured)


@writing()
def draw_at_step(
    step: JobStep, poured: Decimal | None, typed: str, *, fresh: bool = False, actor: User | None, clock: Clock
) -> str:
    """Take what a step uses, and return what the shelf lacked as a sentence (empty: nothing lacked).

    The work is done: a shortage never stops it. `fresh` leaves alone what stands open for longer than it keeps.
    """
    now = clock()
    need = step.written.need if step.written else None
    if need is None or need.item is None:
        return ""
    taking = taking_at(step, poured)
    if taking is None:
        return f"{need.item} has no line on this operation: nothing was taken from the shelf."
    lacked = _take(taking, typed, step=step, fresh=fresh, actor=actor, now=now) if taking.quantity > 0 else Decimal(0)
    return _lacked(taking.line, taking.used, lacked)


def _lacked(line: Line, used: Decimal, lacked: Decimal) -> str:
    """What the shelf lacked, as a sentence; empty when nothing did."""
    assert line.item is not None  # asked by the caller
    unit = line.item.base_unit
    return f"{both(used, unit)} of {line.item} used, the shelf lacked {both(lacked, unit)} of it." if lacked else ""


def put_right(line: Line) -> None:
    """Let the sentence about what the shelf lacked say what still lacks; it goes once all of it was taken."""
    taken = taken_of(line)
    for step in line.operation.steps.filter(written__need=line.need_id).exclude(shortage=""):
        poured = taken.planned if taken.poured is None else taken.poured
        step.shortage = _lacked(line, poured, taken.lacking)
        step.save(update_fields=["shortage"])


def old_among(line: Line, quantity: Decimal, at: dt.datetime) -> list[str]:
    """What to ask before so much is taken for a line: containers that stand open for longer than they keep."""
    assert line.item is not None  # asked by the caller
    return [
        _("%(item)s was opened on %(day)s, %(open)s days ago, and keeps %(keeps)s days. Take it all the same?")
        % {
            "item": f"{container.label} {container.item}",
            "day": day(container.opened_at),
            "open": (at - container.opened_at).days,
            "keeps": container.item.open_days,
        }
        for container in too_old_among(line.item, quantity, at)
        if container.opened_at is not None
    ]


def settle_taking(
    takings: Iterable[tuple[Line, Decimal]], as_it_is: str, at: dt.datetime, *, odd: Sequence[str] = ()
) -> bool:
    """Settle what is asked before so much is taken for some lines: whether a new container is opened instead.

    Raises Questions, unless `as_it_is` answers them: `odd`, and what stands open for longer than it keeps.
    """
    fresh = instead_taken(as_it_is)
    old = [] if fresh else [question for line, quantity in takings for question in old_among(line, quantity, at)]
    settle([*odd, *old], as_it_is, instead=str(NEW_ONE) if old else "")
    return fresh


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
    *,
    key: uuid.UUID,
    line: Line,
    quantity: Decimal,
    typed: str = "",
    as_it_is: str = "",
    actor: User | None,
    clock: Clock,
) -> Line:
    """Take more for a line, in its item's base unit; refused when the shelf does not have it (Shortage).

    Raises Questions, unless `as_it_is` answers them, for much more than is planned and for what was opened too long
    ago; a sealed one may be taken instead.
    """
    now = clock()
    _may_move(line, stages.IN_BAY)
    _may_be_used(line)
    fresh = settle_taking([(line, quantity)], as_it_is, now, odd=_too_much(line, quantity))
    _draw(line, quantity, typed, fresh, actor, now)
    put_right(line)
    audit.record("drew for a line", line, actor=actor, now=now, quantity=str(quantity), typed=typed)
    return line


@writing()
def hand_over(*, line: Line, fresh: bool = False, actor: User | None, clock: Clock) -> Line:
    """Draw what a line of a counter sale says; refused when the shelf lacks it (Shortage), and for a line of a job."""
    now = clock()
    if not line.operation.job.is_sale:
        raise Refused(f"“{line}” is part of a job: take it in the bay.")
    _may_be_used(line)
    _draw(line, line.base_quantity, line.typed, fresh, actor, now)
    return line


def _too_much(line: Line, quantity: Decimal) -> list[str]:
    """What to ask before so much more is taken: it comes to far more than is planned."""
    assert line.item is not None  # asked by the caller
    out = used_on(line).quantity
    if quantity + out <= FAR * line.base_quantity or quantity > chain_on_hand(line.item):
        return []  # what the shelf does not have is refused
    sentence = _("With this, %(all)s of %(item)s is taken; %(planned)s is planned. Is that right?")
    return [sentence % {"all": amount_of(line, out + quantity), "item": line, "planned": amount_of(line)}]


def _too_little(line: Line, quantity: Decimal) -> list[str]:
    """What to ask before so much comes back: it leaves far less than was filled in, or far less than is planned and not
    nothing."""
    left = used_on(line).quantity - quantity
    poured = taken_of(line).poured
    if poured and FAR * left < poured:
        sentence = _("With this, only %(left)s of %(item)s stays taken; %(poured)s was filled in. Is that right?")
        return [sentence % {"left": amount_of(line, left), "item": line, "poured": amount_of(line, poured)}]
    if not 0 < FAR * left < line.base_quantity:
        return []
    sentence = _("With this, only %(left)s of %(item)s stays taken; %(planned)s is planned. Is that right?")
    return [sentence % {"left": amount_of(line, left), "item": line, "planned": amount_of(line)}]


def _draw(line: Line, quantity: Decimal, typed: str, fresh: bool, actor: User | None, now: dt.datetime) -> None:
    assert line.item is not None  # asked by the caller
    for movement in stock.draw(
        item=line.item, quantity=quantity, reason=_reason(line), typed=typed, fresh=fresh, actor=actor, clock=fixed(now)
    ):
        Draw.objects.create(line=line, movement=movement)


@once("jobs.return_from_line", Line)
def return_from_line(
    *,
    key: uuid.UUID,
    line: Line,
    quantity: Decimal,
    typed: str = "",
    as_it_is: str = "",
    actor: User | None,
    clock: Clock,
) -> Line:
    """Bring unused stock of a line back to its containers, the last drawn first; refused above what is out.

    Raises Questions, unless `as_it_is` answers them, where far less than is planned would stay taken.
    """
    now = clock()
    _may_move(line, stages.IN_BAY, stages.FINISHED)
    assert line.item is not None
    out = used_on(line).quantity
    if not 0 < quantity <= out:
        raise Refused(f"{both(out, line.item.base_unit)} was taken for this line.", "quantity")
    settle(_too_little(line, quantity), as_it_is)
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
    """Refuse what the customer did not agree to, the work or this part, and what is for work that was given up."""
    if line.operation.not_done_id is not None:
        raise Refused(f"“{line.operation}” ended as not done: nothing more is taken for it.")
    standing = consent_of(line.operation.job).of(line.operation_id)
    if not standing.allows_work:
        raise Refused(f"“{line.operation}” is not authorized: nothing is taken for it.")
    if not standing.allows_line(line.pk):
        raise Refused(f"“{line}” is not what the customer authorized: ask them first ({all_beyond(standing)}).")


def _reason(line: Line) -> str:
    return f"{line.operation.job}: {line.operation}"


def _take(taking: Taking, typed: str, *, step: JobStep, fresh: bool, actor: User | None, now: dt.datetime) -> Decimal:
    """Draw a line's item, or as much of it as there is; give back how much was lacking."""
    line, quantity = taking.line, taking.quantity
    assert line.item is not None
    lacked = max(quantity - _there(line.item, fresh, now), Decimal(0))
    if quantity > lacked:
        movements = stock.draw(
            item=line.item,
            quantity=quantity - lacked,
            reason=_reason(line),
            typed=typed,
            fresh=fresh,
            actor=actor,
            clock=fixed(now),
        )
        Draw.objects.bulk_create(Draw(line=line, movement=movement, step=step) for movement in movements)
    return lacked


def _there(item: Item, fresh: bool, now: dt.datetime) -> Decimal:
    """What can be taken of an item; `fresh`: without what stands open for longer than it keeps."""
    if not fresh:
        return chain_on_hand(item)
    return sum((container.content for container in to_draw_fresh(item, now)), Decimal(0))


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
