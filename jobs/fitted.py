"""What the shelf really gave for a line: another number of the item's supersession chain may stand in for it.

A draw is always from the chain that the line's item is in at that moment, so what was drawn is the same part, and the
customer's yes holds. What is printed is the number that was fitted, and what it stands in for.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from garage.texts import shortened
from jobs import showing
from jobs.amounts import base_unit, charged_quantity
from jobs.models import Line
from jobs.queries import Used
from parts.models import Item
from parts.queries import came_after


@dataclass(frozen=True)
class Fitted:
    """How a line is printed of which the shelf gave another number: `item` as `what`, and a `note` under it.

    Where only some of it was another number, the line keeps its own and the note says how much was which.
    """

    what: str
    item: int
    note: str


def fitted_for(lines: Iterable[Line], used: Mapping[int, Used]) -> dict[int, Fitted]:
    """The lines for which another number than their own was drawn, by primary key; two queries where there are any."""
    drawn = {line: used[line.pk].items for line in lines if line.item_id is not None and line.pk in used}
    others = {key for line, items in drawn.items() for key in items if key != line.item_id}
    if not others:
        return {}
    names = {row.pk: str(row) for row in Item.objects.filter(pk__in=others)}
    later = came_after({line.item_id for line in drawn if line.item_id is not None})
    found: dict[int, Fitted] = {}
    for line, items in drawn.items():
        assert line.item_id is not None
        given = {key: names[key] for key in items if key != line.item_id}
        if not given:
            continue
        words = {key: "replaces" if key in later[line.item_id] else "in place of" for key in given}
        if len(items) == 1:
            (key,) = given
            found[line.pk] = Fitted(given[key], key, f"{words[key]} {line.description}")
        else:
            parts = [
                f"{_how_much(line, items[key])} of it is {name} ({words[key]} {line.description})"
                for key, name in given.items()
            ]
            found[line.pk] = Fitted(line.description, line.item_id, shortened("; ".join(parts), 300))
    return found


def _how_much(line: Line, quantity: Decimal) -> str:
    """A quantity of the shelf in the unit the line is charged in."""
    return showing.quantity(charged_quantity(quantity, base_unit(line.unit), line.unit), line.unit)[0]
