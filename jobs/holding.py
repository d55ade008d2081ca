"""Which steps are open, and what stands on which. Pure: no Django here.

A hold point keeps every later step closed until it is confirmed, and a step keeps those closed that need it. A step
that was done and is to be confirmed `again` counts as not done until it was.
"""

from collections.abc import Collection, Sequence
from typing import Protocol, TypeVar


class Held(Protocol):
    """A step as the rule sees it; `needs` are the procedure's steps (`written_id`) that must be done before it."""

    @property
    def position(self) -> int: ...
    @property
    def state(self) -> str: ...
    @property
    def again(self) -> bool: ...
    @property
    def stopped(self) -> bool: ...
    @property
    def hold_point(self) -> bool: ...
    @property
    def refuses_outside(self) -> bool: ...
    @property
    def written_id(self) -> int | None: ...
    @property
    def needs(self) -> Collection[int]: ...


S = TypeVar("S", bound=Held)


def settled(step: Held) -> bool:
    """Whether later steps may stand on this one: it was done, and nothing it stands on was reopened since."""
    return step.state == "done" and not step.again


def to_do(step: Held) -> bool:
    """Whether somebody has still to tick this step, for the first time or again."""
    return step.state == "open" or step.again


def _stands_on(step: Held, other: Held) -> bool:
    return other.position < step.position and (other.hold_point or other.written_id in step.needs)


def held_by(steps: Sequence[S], step: S) -> S | None:
    """Return the first step that keeps `step` closed, or None: then it may be worked on.

    That is a hold point before it, or a step it needs, that is not settled; one that was skipped is not. What was seen
    in a bad sample holds like a hold point, until somebody has said what is to be done.
    """
    return next((other for other in steps if _holds(other, step)), None)


def _holds(other: Held, step: Held) -> bool:
    if other.stopped and other.position < step.position:
        return True
    return _stands_on(step, other) and not settled(other)


def next_open(steps: Sequence[S]) -> S | None:
    """Return the step to do next: the first that is open or to be confirmed again, and that nothing holds."""
    return next((step for step in steps if to_do(step) and held_by(steps, step) is None), None)


def closed_by(steps: Sequence[S], step: S) -> list[S]:
    """Return the done steps that stand on `step`, and those that stand on them: what its reopening closes."""
    closed: list[S] = []
    bases = [step]
    for base in bases:
        for other in steps:
            if other.state == "done" and other not in closed and _stands_on(other, base):
                closed.append(other)
                bases.append(other)
    return sorted(closed, key=lambda other: other.position)


def guarded(steps: Sequence[Held], step: Held) -> bool:
    """Say whether a step cannot be skipped: a hold point, one whose limits refuse, or one that another needs."""
    return step.hold_point or step.refuses_outside or any(step.written_id in other.needs for other in steps)
