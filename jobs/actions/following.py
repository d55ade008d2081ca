"""Lines that hang on another: a core deposit follows the part it is charged with."""

from decimal import Decimal

from jobs.models import Finer, Line, LineKind


def follow(part: Line, *, item_changed: bool) -> None:
    """Bring the core under a part's line to the part: its quantity, and the deposit of another item; and what gives
    cores back to their line, whoever changed it.

    A core that the counter took off the sheet stays off until the part is another item. Called by the verbs that
    write lines, within their transaction.
    """
    if part.finer == Finer.CORE:
        _give_back_alike(part)
        return
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
    _give_back_alike(core)


def charge_alike(refund: Line, core: Line) -> None:
    """Let a core given back come to what its deposit is charged at; the row is not stored."""
    refund.unit_price, refund.discount, refund.tax_class = core.unit_price, core.discount, core.tax_class


def _give_back_alike(core: Line) -> None:
    for refund in core.hanging.all():
        refund.quantity = refund.base_quantity = max(refund.quantity, -core.quantity)
        charge_alike(refund, core)
        refund.save()
