"""Looking a procedure file over before it is published: what is wrong, by line, or what it would become."""

from dataclasses import dataclass, field

from garage.errors import Refused
from jobs.actions.procedures import find_item
from jobs.models import Procedure
from jobs.procedure_files import Unreadable, parse
from jobs.procedure_schema import Written
from jobs.yaml_fields import Problem


@dataclass(frozen=True)
class Checked:
    """A file that was looked over: `written` when nothing is wrong with it, and which revision it would be."""

    problems: list[Problem] = field(default_factory=list)
    written: Written | None = None
    number: int = 1


def check(text: str) -> Checked:
    """Read a file and look its items up on the shelf; nothing is written."""
    try:
        written = parse(text)
    except Unreadable as unreadable:
        return Checked(unreadable.problems)
    problems = []
    for position, need in enumerate(written.needs, start=1):
        try:
            find_item(need)
        except Refused as refused:
            problems.append(Problem(need.line, f"needs[{position}].item", str(refused)))
    if problems:
        return Checked(problems)
    known = Procedure.objects.filter(title__iexact=written.title).first()
    last = known.revisions.first() if known else None
    return Checked([], written, last.number + 1 if last else 1)
