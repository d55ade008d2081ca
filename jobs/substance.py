"""Which steps are a service's substance, and whether it was served. Pure: no Django here.

A drive on the road and a clean magnet do not make a fluid change; the fill does. A service counts for “next due” only
when every step that is its substance was done, whatever else was ticked.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from jobs.procedure_schema import Step, Written


def substance_of(steps: Sequence[Step]) -> tuple[bool, ...]:
    """Say of each step whether it is the substance: those that the procedure marks.

    Where it marks none: its fill steps and those that use something; where it has neither, all its steps.
    """
    marked = tuple(step.substance for step in steps)
    if any(marked):
        return marked
    usual = tuple(step.kind == "fill" or bool(step.uses) for step in steps)
    return usual if any(usual) else tuple(True for _ in steps)


def marked(written: Written) -> Written:
    """The procedure with its substance marked on every step, as a revision keeps it."""
    pairs = zip(written.steps, substance_of(written.steps), strict=True)
    return replace(written, steps=tuple(replace(step, substance=substance) for step, substance in pairs))


@dataclass(frozen=True)
class Worked:
    """A step as it was left: its title, whether it is the substance, whether it was done."""

    title: str
    substance: bool
    done: bool


@dataclass(frozen=True)
class Served:
    """Whether a service counts as done; `missing` are the titles of the substance that was not done."""

    counts: bool
    missing: tuple[str, ...]


def served(steps: Iterable[Worked]) -> Served:
    """Judge a service by its steps: all of its substance was done, and there was some."""
    substance = [step for step in steps if step.substance]
    missing = tuple(step.title for step in substance if not step.done)
    return Served(bool(substance) and not missing, missing)
