"""Money received, given back, and taken back by a bank: append-only rows, sealed in their chain."""

import datetime as dt
import uuid
from collections.abc import Sequence
from decimal import Decimal

from garage import audit
from garage.clock import Clock
from garage.errors import Refused
from garage.idempotency import once
from garage.ledger import append, aside
from garage.models import User
from invoicing import freezing
from invoicing.actions.issuing import owe
from invoicing.comparing import amount as said
from invoicing.models import Invoice, Payment, PaymentPart, Receivable


@once("take payment", Payment)
def take_payment(
    *,
    key: uuid.UUID,
    invoice: Invoice,
    amount: Decimal,
    method: str,
    reference: str = "",
    actor: User | None,
    clock: Clock,
) -> Payment:
    """Take money on an invoice; part payments are welcome, and the job closes when nothing is owed any more.

    The same `key` again gives the same payment. Raises Refused for an amount not above zero, an unknown method, and
    more than is owed: change is given, a deposit belongs to an invoice of its own.
    """
    now = clock()
    balance = _balance(invoice)
    if amount <= 0:
        raise Refused("A payment must be more than zero.", "amount")
    if amount > balance:
        owed = f"only {said(balance)} is owed" if balance > 0 else "nothing is owed"
        raise Refused(f"On invoice {invoice.label} {owed}: take no more than that.", "amount")
    payment = _write(invoice, amount, _method(method), reference, "", actor, now)
    audit.record("took payment", payment, actor=actor, now=now, invoice=invoice.label, amount=str(amount))
    return payment


@once("reverse payment", Payment)
def reverse_payment(*, key: uuid.UUID, payment: Payment, reason: str, actor: User | None, clock: Clock) -> Payment:
    """Take a payment back whole, such as a bounced check: a row of its own below zero, and the invoice is owed again.

    Raises Refused without a reason, for a payment that was reversed already, and for a reversal.
    """
    now = clock()
    standing = Payment.objects.select_related("customer").get(pk=payment.pk)
    if standing.reverses_id is not None or standing.amount < 0:
        raise Refused("Only money that was received can be taken back.")
    if hasattr(standing, "reversed_by"):
        raise Refused("This payment was taken back already.")
    if not reason.strip():
        raise Refused("Say why it is taken back, such as: the check bounced.", "reason")
    parts = list(standing.parts.select_related("invoice__customer"))
    row = _taking_back(standing, reason, actor, now)
    _sealed(row, [PaymentPart(invoice=part.invoice, amount=-part.amount) for part in parts])
    for part in parts:
        owe(part.invoice, part.amount, actor=actor, now=now)
    audit.record("reversed payment", standing, actor=actor, now=now, reason=reason, amount=str(standing.amount))
    return row


@once("give back", Payment)
def give_back(
    *,
    key: uuid.UUID,
    invoice: Invoice,
    amount: Decimal,
    method: str,
    reason: str,
    reference: str = "",
    actor: User | None,
    clock: Clock,
) -> Payment:
    """Give a customer money back that was paid before the invoice was credited.

    Raises Refused without a reason, and for more than the garage owes.
    """
    now = clock()
    too_much = -_balance(invoice)
    if amount <= 0:
        raise Refused("What is given back must be more than zero.", "amount")
    if amount > too_much:
        owed = f"only {said(too_much)} is to be given back" if too_much > 0 else "nothing is to be given back"
        raise Refused(f"On invoice {invoice.label} {owed}.", "amount")
    if not reason.strip():
        raise Refused("Say why it is given back.", "reason")
    payment = _write(invoice, -amount, _method(method), reference, reason, actor, now)
    audit.record("gave back", payment, actor=actor, now=now, invoice=invoice.label, amount=str(amount))
    return payment


def _balance(invoice: Invoice) -> Decimal:
    receivable = Receivable.objects.filter(invoice=invoice).first()
    if receivable is None:
        raise Refused("Nothing is paid on a credit note: it is set against its invoice.")
    return receivable.balance


def _method(method: str) -> str:
    if method not in Payment.Method.values:
        raise Refused("Say how it was paid: cash, card, transfer or check.", "method")
    return method


def _write(
    invoice: Invoice,
    amount: Decimal,
    method: str,
    reference: str,
    reason: str,
    actor: User | None,
    now: dt.datetime,
) -> Payment:
    payment = Payment(
        customer_id=invoice.customer_id,
        method=method,
        amount=amount,
        at=now,
        by=actor,
        **aside(reference=reference.strip()[:80], reason=reason.strip()[:200]),
    )
    _sealed(payment, [PaymentPart(invoice=invoice, amount=amount)])
    owe(invoice, -amount, actor=actor, now=now)
    return payment


def _sealed(payment: Payment, parts: Sequence[PaymentPart]) -> None:
    """Seal a payment over its parts, append it to the chain, and store the parts."""
    payment.content_sha256 = freezing.payment_seal(parts)
    append(payment)
    for part in parts:
        part.payment = payment
    PaymentPart.objects.bulk_create(parts)


def _taking_back(standing: Payment, reason: str, actor: User | None, now: dt.datetime) -> Payment:
    """The row that takes a payment back."""
    return Payment(
        customer=standing.customer,
        method=standing.method,
        amount=-standing.amount,
        reverses=standing,
        at=now,
        by=actor,
        **aside(reference=standing.reference, reason=reason.strip()[:200]),
    )
