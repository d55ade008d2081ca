"""Selling over the counter: drawn from the shelf, billed and paid in one act."""

import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from garage import audit, shop
from garage.actions import clock_notes
from garage.actions.customers import walk_in_customer
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.idempotency import once
from garage.models import Customer, User
from invoicing import dating
from invoicing.actions.invoices import issue
from invoicing.actions.payments import take_payment
from invoicing.models import Invoice, Payment
from jobs.actions.counter_sale import open_sale

#: In place of a way to pay: it is owed on the customer's account.
ON_ACCOUNT = "account"


@once("sell", Invoice)
def sell(
    *,
    key: uuid.UUID,
    lines: Sequence[Mapping[str, Any]],
    method: str,
    customer: Customer | None = None,
    reference: str = "",
    order_number: str = "",
    as_it_is: str = "",
    clock_reason: str = "",
    actor: User | None,
    clock: Clock,
) -> Invoice:
    """Sell parts and fluids over the counter: the invoice, with the stock drawn and the money received.

    Without a `customer` it is a walk-in sale and paid in full at once; `method` is how, or ON_ACCOUNT for a customer
    who pays later. `lines` are fields as `save_line` takes them. The same `key` again gives the same invoice. Raises
    Refused as `open_sale`, `issue` and `take_payment` do, and for a walk-in sale on account; `as_it_is` answers the
    Questions of `open_sale`.
    """
    now = clock()
    clock_notes.answer(dating.open_doubts(clock, now), reason=clock_reason, actor=actor, now=now)
    buyer = customer.today if customer is not None else walk_in_customer(actor=actor, clock=fixed(now))
    if method not in (*Payment.Method.values, ON_ACCOUNT):
        raise Refused("Choose how it is paid.", "method")
    if method == ON_ACCOUNT and buyer.walk_in:
        raise Refused("A sale on account needs a customer: choose who buys, or take the money now.", "method")
    job = open_sale(
        lines=lines, customer=buyer, order_number=order_number, as_it_is=as_it_is, actor=actor, clock=fixed(now)
    )
    due = shop.day_of(now) if method != ON_ACCOUNT else None
    invoice = issue(key=None, job=job, due_on=due, actor=actor, clock=fixed(now))
    if method != ON_ACCOUNT and invoice.gross:
        take_payment(
            key=None,
            invoice=invoice,
            amount=invoice.gross,
            method=method,
            reference=reference,
            actor=actor,
            clock=fixed(now),
        )
    audit.record("sold", invoice, actor=actor, now=now, gross=str(invoice.gross))
    return invoice
