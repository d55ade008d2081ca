"""Which steps are open: hold points keep later steps closed until they are confirmed. Pure: no Django here."""

from collections.abc import Sequence
from typing import Protocol, TypeVar


class Held(Protocol):
    """A step as the rule sees it."""

    @property
    def position(self) -> int: ...
    @property
    def state(self) -> str: ...
    @property
    def hold_point(self) -> bool: ...
    @property
    def stopped(self) -> bool: ...


S = TypeVar("S", bound=Held)


def held_by(steps: Sequence[S], step: S) -> S | None:
    """Return the first hold point before `step` that is still open, or None: then it may be worked on.

    What was seen in a bad sample holds like one, until somebody has said what is to be done.

    A skipped hold point no longer holds: it was skipped with a reason, which the job shows.
    """
    before = (other for other in steps if other.position < step.position)
    return next((other for other in before if other.stopped or (other.hold_point and other.state == "open")), None)


def next_open(steps: Sequence[S]) -> S | None:
    """Return the step to do next: the first open one that nothing holds."""
    return next((step for step in steps if step.state == "open" and held_by(steps, step) is None), None)
