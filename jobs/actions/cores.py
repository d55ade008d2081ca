"""A core handed in before the invoice gives its deposit back, on a line of its own."""

import uuid
from decimal import Decimal

from garage import audit
from garage.clock import Clock
from garage.errors import Refused
from garage.idempotency import once
from garage.models import User
from jobs.actions.following import charge_alike
from jobs.actions.writing_up import counted, editable
from jobs.models import Finer, Line, LineKind

ONE = Decimal(1)


@once("core handed in", Line)
def hand_in_core(*, key: uuid.UUID, core: Line, actor: User | None, clock: Clock) -> Line:
    """Give one core's deposit back before the invoice: a line below zero that names the core it gives back.

    It lowers the price, so nobody is asked again. Raises Refused when every core of the line came back, and once the
    job's paper is out: then a credit of the core's line on the invoice gives it back.
    """
    now = clock()
    core = Line.objects.select_related("operation__job").get(pk=core.pk)
    if core.finer != Finer.CORE:
        raise Refused("Only a core is returned.")
    editable(core.operation.job, core.operation)
    refund = core.hanging.first() or Line(
        operation=core.operation, position=core.position, under=core, kind=LineKind.CHARGE, finer=Finer.CORE_REFUND,
        description=core.description.replace("Core deposit", "Core returned"), unit=core.unit, quantity=Decimal(0),
    )  # fmt: skip
    if ONE - refund.quantity > core.quantity:
        raise Refused(f"Every core of “{core}” was returned.")
    refund.quantity -= ONE
    refund.base_quantity = refund.quantity
    charge_alike(refund, core)
    refund.save()
    audit.record("core handed in", refund, actor=actor, now=now, core=core.pk, quantity=str(-refund.quantity))
    counted(core.operation.job, actor, now)
    return refund
