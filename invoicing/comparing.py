"""What differs between two states of a job's prices, in sentences. Pure: no Django here.

Two uses: an estimate says what changed since the revision before (16 CCR 3354(a): the additions and the revised
total), and a draft invoice says where what was done differs from what was authorized.
"""

from collections.abc import Iterator, Sequence
from decimal import Decimal

from garage.forms_fields import plain_text
from garage.money import spoken
from garage.numbers import minus
from invoicing.sums import Charge, OperationCharges
from invoicing.totals import NOTHING
from jobs import showing


def amount(value: Decimal) -> str:
    """Money in a column, without a sign of its currency: 1,234.50, with a true minus."""
    return minus(f"{value:,.2f}")


def how_much(quantity: Decimal, unit: str) -> str:
    """A quantity as sentences write it: 1.700 L, 1.4 h, 2."""
    return showing.quantity(quantity, unit)[0]


def more_or_less(change: Decimal) -> str:
    """A change of price in words: $6.12 more, $3.00 less, same price."""
    if change == 0:
        return "same price"
    return f"{spoken(abs(change))} {'more' if change > 0 else 'less'}"


def what_changed(before: Sequence[OperationCharges], after: Sequence[OperationCharges]) -> list[str]:
    """One sentence for each operation and line that is new, gone or different."""
    old = {operation.operation: operation for operation in before}
    new = {operation.operation: operation for operation in after}
    return [
        *(f"New: “{row.title}”, {spoken(row.net)}." for key, row in new.items() if key not in old),
        *(sentence for key, row in new.items() if key in old for sentence in _operation(old[key], row)),
        *(f"Left out: “{row.title}”, {spoken(row.net)}." for key, row in old.items() if key not in new),
    ]


def _operation(before: OperationCharges, after: OperationCharges) -> Iterator[str]:
    if before.title != after.title:
        yield f"“{before.title}” is now “{after.title}”."
    if before.counted != after.counted:
        yield f"“{after.title}” is {'now in the total' if after.counted else 'now an alternative, not in the total'}."
    old, new = _by_line(before), _by_line(after)
    for key, charge in new.items():
        if key not in old:
            yield f"“{after.title}”: {charge.description} added, {spoken(charge.net)}."
        elif said := line_change(old[key], charge):
            yield f"“{after.title}”: {said}."
    for key, charge in old.items():
        if key not in new:
            yield f"“{after.title}”: {charge.description} left out, {spoken(charge.net)} less."


def _by_line(operation: OperationCharges) -> dict[tuple[int | None, int], Charge]:
    """Lines by the sheet's row; those without one by their place."""
    return {
        (charge.line, 0 if charge.line else place): charge for place, charge in enumerate(operation.charges, start=1)
    }


def line_change(before: Charge, after: Charge) -> str:
    """What is different about one line, without the stop; empty when nothing is."""
    said = []
    if before.description != after.description:
        said.append(f"{after.description} instead of {before.description}")
    if before.condition != after.condition:
        said.append(f"{after.condition or 'no condition'} instead of {before.condition or 'no condition'}")
    if (before.quantity, before.unit) != (after.quantity, after.unit):
        said.append(f"{how_much(after.quantity, after.unit)} instead of {how_much(before.quantity, before.unit)}")
    if before.unit_price != after.unit_price:
        now, then = showing.price(after.unit_price, after.unit), showing.price(before.unit_price, before.unit)
        said.append(f"at {now[0]} instead of {then[0]}")
    if before.discount != after.discount:
        said.append(f"discount {plain_text(after.discount * 100)}% instead of {plain_text(before.discount * 100)}%")
    if before.sublet_to != after.sublet_to:
        said.append(f"done by {after.sublet_to or 'us'} instead of {before.sublet_to or 'us'}")
    if before.tax_class != after.tax_class:
        said.append("taxed differently")
    if before.if_needed != after.if_needed:
        said.append("only if needed" if after.if_needed else "no longer only if needed")
    if not said:
        return ""
    name = "" if before.description != after.description else f"{after.description}, "
    return f"{name}{', '.join(said)}, {more_or_less(after.net - before.net)}"


def same_offer(before: Sequence[OperationCharges], after: Sequence[OperationCharges]) -> bool:
    """Whether two lists of operations offer the same work at the same prices."""
    return [_offered(row) for row in before] == [_offered(row) for row in after]


def _offered(operation: OperationCharges) -> tuple[object, ...]:
    """What of an operation is offered: not the decision on it (nor which alternative it makes count), nor the work."""
    charges = [
        (row.line, row.kind, row.finer, row.description, row.condition, row.quantity, row.unit, row.unit_price,
         row.discount, row.tax_class, row.sublet_to, row.if_needed)
        for row in operation.charges
    ]  # fmt: skip
    return (operation.operation, operation.title, operation.concern, operation.cause, charges)


def net_of(operations: Sequence[OperationCharges]) -> Decimal:
    """What the counted operations cost before tax."""
    return sum((operation.net for operation in operations if operation.counted), NOTHING)
