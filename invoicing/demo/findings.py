"""What is noticed on ordinary visits and needs work later: by when, and the work that settles it."""

from dataclasses import dataclass, replace
from typing import Final

from invoicing.demo.visits import Work


@dataclass(frozen=True)
class Finding:
    """Something noticed: `within` so many miles, at the next visit without them; `soon` has a visit of its own."""

    text: str
    work: Work
    within: int = 0
    soon: bool = False


def _finding(text: str, work: Work, within: int = 0, *, soon: bool = False) -> Finding:
    return Finding(text, replace(work, from_advisory=text), within, soon)


FINDINGS: Final = (
    _finding(
        "Front lower control arm bushing cracked",
        Work(title="Front lower control arm bushings, both sides", hours="2.4", bought=(("Bushing set", "86.00"),),
             correction="Bushings pressed in, bolts tightened at ride height, alignment within limits."),
    ),
    _finding(
        "Rear tires at 5/32 in",
        Work(title="Two rear tires", hours="0.2", sublet=("Ashmere Tire", "274.00"),
             correction="Mounted and balanced by Ashmere Tire, lug nuts torqued crosswise."),
        within=8000,
    ),
    _finding(
        "Serpentine belt begins to crack",
        Work(title="Serpentine belt", hours="0.8", parts=(("SB-10", "1"),), cause="Cracked across the ribs.",
             correction="Belt new, tensioner runs freely."),
    ),
    _finding(
        "Slight sweat at the valve cover",
        Work(title="Valve cover gasket", hours="1.2", bought=(("Valve cover gasket", "31.00"),),
             correction="Gasket new, dry after a warm run."),
    ),
    _finding(
        "Battery weak under load",
        Work(title="Battery", hours="0.4", parts=(("BT-70", "1"),), cause="Fails under load.",
             correction="Battery new, terminals cleaned, charging voltage in order."),
    ),
    _finding(
        "Muffler hanger torn",
        Work(title="Muffler hanger", hours="0.4", bought=(("Muffler hanger", "9.80"),),
             correction="Both hangers new, no contact."),
    ),
    _finding(
        "Left outer tie rod end has play",
        Work(title="Left outer tie rod end, with alignment", hours="0.9", bought=(("Outer tie rod end", "48.00"),),
             concern="Back for the tie rod end.",
             correction="Tie rod end new, nut to the maker's figure with a new cotter pin, toe set."),
        within=500, soon=True,
    ),
)  # fmt: skip
