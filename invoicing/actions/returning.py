"""What a credit note sends back to the shelf, and whose cost it takes back."""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import Decimal

from garage.clock import fixed
from garage.errors import Refused
from garage.models import User
from invoicing.comparing import how_much
from invoicing.crediting import Credited, CreditedLine
from invoicing.models import Invoice, InvoiceLine
from jobs import queries as jobs_queries
from jobs.actions.draws import return_billed
from jobs.amounts import in_base
from jobs.models import Line

ZERO = Decimal(0)


def to_the_shelf(
    note: Invoice,
    taken: Credited,
    returns: Mapping[int, Decimal],
    *,
    again: bool,
    actor: User | None,
    now: dt.datetime,
) -> Credited:
    """Bring back what `returns` names (by the invoice line's key, in the unit billed), and say what stays out.

    `again`: the job will be billed anew, so the credit takes all of the cost back, that of lines credited before too
    (by rows of no quantity, which no paper prints), and the next invoice bears it; else only the cost of what came
    back. Runs within the credit's transaction. Refused for more than is credited or out.
    """
    wanted = {key: quantity for key, quantity in returns.items() if quantity}
    if wanted.keys() - {row.line.pk for row in taken.lines}:
        raise Refused("Only what is credited goes back to the shelf.")
    sheet = shelf_lines(row.line for row in taken.lines)
    rows, said = [], []
    for row in taken.lines:
        line = sheet.get(row.line.line_id or 0)
        back = wanted.get(row.line.pk, ZERO)
        if line is None:
            if back:
                raise Refused(f"“{row.line}” did not come from the shelf.", f"return_{row.line.pk}")
            rows.append(replace(row, cost=-row.left.cost if again else ZERO))
            continue
        came_back = _bring_back(note, row, line, back, actor, now)
        cost = row.left.cost if again else came_back.cost
        charge = replace(row.charge, base_quantity=-came_back.quantity)
        rows.append(replace(row, charge=charge, cost=-cost))
        said.append(_said(row, back))
    if again:
        rows += [replace(row, cost=-row.left.cost) for row in taken.spent]
    return replace(taken, lines=tuple(rows), on_the_shelf=tuple(said))


def shelf_lines(lines: Iterable[InvoiceLine]) -> dict[int, Line]:
    """The sheet's lines behind an invoice's that came from the shelf, by their key."""
    keys = [line.line_id for line in lines if line.line_id is not None]
    return {line.pk: line for line in Line.objects.filter(pk__in=keys, item__isnull=False).select_related("item")}


def out_of_shelf(lines: Iterable[InvoiceLine]) -> dict[int, Decimal]:
    """What of the lines is still out, in the base unit, by the sheet's line; only what is."""
    used = jobs_queries.used(shelf_lines(lines).values())
    return {key: row.quantity for key, row in used.items() if row.quantity > 0}


def _bring_back(
    note: Invoice, row: CreditedLine, line: Line, back: Decimal, actor: User | None, now: dt.datetime
) -> jobs_queries.Used:
    if not back:
        return jobs_queries.NOTHING
    field, unit = f"return_{row.line.pk}", row.line.unit
    credited = abs(row.charge.quantity)
    if back > credited:
        raise Refused(f"{row.line.description}: {how_much(credited, unit)} is credited; no more goes back.", field)
    out = jobs_queries.used_on(line).quantity
    # The whole of what was billed is all that left the shelf, to the last place; a part is as printed.
    quantity = out if back == row.line.quantity else min(in_base(back, unit), out)
    if quantity <= 0:
        raise Refused(f"{row.line.description}: all of it is back on the shelf.", field)
    return return_billed(
        line=line, quantity=quantity, typed=how_much(back, unit), reason=f"{note.title}: credited", actor=actor,
        clock=fixed(now),
    )  # fmt: skip


def _said(row: CreditedLine, back: Decimal) -> str:
    stays, unit = abs(row.charge.quantity) - back, row.line.unit
    parts = [f"{how_much(back, unit)} back on the shelf" if back else ""]
    parts.append(f"{how_much(stays, unit)} stays out" if stays else "")
    return f"{row.line.description}: {', '.join(filter(None, parts))}."
