"""Lines that hang on another: a core deposit follows the part it is charged with."""

from decimal import Decimal

from jobs.models import Finer, Line, LineKind


def follow(part: Line, *, item_changed: bool) -> None:
    """Bring the core under a part's line to the part: its quantity, and the deposit of another item.

    A core that the counter took off the sheet stays off until the part is another item. Called by the verbs that
    write lines, within their transaction.
    """
    if part.kind != LineKind.PART:
        part.hanging.all().delete()
        return
    core = part.hanging.filter(finer=Finer.CORE).first()
    deposit = part.item.core_deposit if part.item is not None else Decimal(0)
    if core is None and (not item_changed or not deposit):
        return
    if item_changed and not deposit and core is not None:
        core.delete()
        return
    core = core or Line(operation=part.operation, position=part.position, under=part, kind=LineKind.CHARGE)
    core.finer, core.quantity, core.base_quantity, core.unit = Finer.CORE, part.quantity, part.base_quantity, part.unit
    core.if_needed = part.if_needed
    if item_changed and part.item is not None:
        core.unit_price, core.tax_class = deposit, part.item.tax_class
        core.description = f"Core deposit, {part.item}"
    core.save()
    for refund in core.hanging.all():
        refund.quantity = refund.base_quantity = max(refund.quantity, -core.quantity)
        refund.save()
