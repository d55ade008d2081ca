"""Money received, refunded, reversed by a bank, and moved between invoices, deposits and accounts.

Rows are only appended. A payment and the parts that say where its money went are one act; moving it later is an act
of its own, an `Allocation`. A deposit is a liability and no sale: no tax is charged when it is received (where it is
a tax point, `advances.py` writes an advance invoice).
"""

import datetime as dt
import uuid
from collections.abc import Sequence
from decimal import Decimal
from typing import NotRequired, TypedDict, Unpack

from django.db.models import Max
from django.utils.translation import gettext as _

from garage import audit, dates, documents, shop
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.idempotency import once
from garage.ledger import append, aside
from garage.models import Customer, Document, User
from garage.money import spoken
from invoicing import accounts, freezing
from invoicing.accounts import ZERO, Place
from invoicing.actions.advances import issue_advance
from invoicing.actions.issuing import owe
from invoicing.models import Allocation, Invoice, Payment, PaymentPart, Receivable
from jobs import stages
from jobs.models import Job

#: A day longer ago than this is refused as a slip; the form asks much earlier.
OLDEST = dt.timedelta(days=3660)


class Handed(TypedDict):
    """How money changed hands: how much, how, on which day (today unless said), and a reference such as a check's."""

    amount: Decimal
    method: str
    paid_on: NotRequired[dt.date | None]
    reference: NotRequired[str]


@once("take payment", Payment)
def take_payment(
    *,
    key: uuid.UUID | None,
    invoice: Invoice,
    credit: Decimal = ZERO,
    actor: User | None,
    clock: Clock,
    **handed: Unpack[Handed],
) -> Payment:
    """Record money paid on an invoice; part payments are welcome, and the job closes when nothing is owed any more.

    `credit` is how much of it was said to be more than is owed: that stays as credit on the account. The same `key`
    again gives the same payment. Raises Refused for an amount not above zero, an unknown method, a day to come, and
    for more above what is owed than was said.
    """
    now = clock()
    balance, amount = _balance(invoice), handed["amount"]
    _check_amount(amount, "A payment")
    above = max(ZERO, amount - max(ZERO, balance))
    if above > credit:
        owed = f"only {spoken(balance)} is owed" if balance > 0 else "nothing is owed"
        raise Refused(
            f"On invoice {invoice.label} {owed}: {spoken(above)} of this is more. Check the amount; saved again, "
            "the rest stays as credit on the account.",
            "amount",
        )
    row = _row(invoice.customer, handed, actor, now)
    place = accounts.on_invoice(invoice)
    parts = [place.part(amount - above), accounts.on_account(invoice.customer).part(above)]
    return _write(row, parts, actor, now, "took payment", invoice=invoice.label, credit=str(above))


@once("take deposit", Payment)
def take_deposit(
    *,
    key: uuid.UUID,
    job: Job,
    clock_reason: str = "",
    actor: User | None,
    clock: Clock,
    **handed: Unpack[Handed],
) -> Payment:
    """Record a deposit on a job before its invoice; it is applied when the invoice is issued.

    Where deposits are taxed, it pays an advance invoice of its own instead, which the final invoice takes off;
    `clock_reason` is why the owner lets that one bear a day that was asked about.

    Raises Refused for a job that is invoiced or over, as `take_payment` does, and as `issue_advance` does.
    """
    now = clock()
    job = Job.objects.select_related("customer").get(pk=job.pk)
    if job.stage not in stages.OPEN:
        raise Refused(f"{job} is {job.get_stage_display()}: a deposit is taken before the invoice.")
    amount = handed["amount"]
    _check_amount(amount, "A deposit")
    row = _row(job.customer, handed, actor, now)
    place = accounts.on_job(job)
    if shop.profile().deposits_taxed:
        advance = issue_advance(job, amount, clock_reason=clock_reason, actor=actor, clock=clock, now=now)
        place = accounts.on_invoice(advance)
    return _write(row, [place.part(amount)], actor, now, "took deposit", job=job.number)


@once("take payment on account", Payment)
def take_on_account(
    *, key: uuid.UUID, customer: Customer, actor: User | None, clock: Clock, **handed: Unpack[Handed]
) -> Payment:
    """Record money that stands as credit on a customer's account. Raises Refused as `take_payment` does."""
    now = clock()
    _check_amount(handed["amount"], "A payment")
    row = _row(customer, handed, actor, now)
    return _write(row, [accounts.on_account(customer).part(row.amount)], actor, now, "took payment on account")


@once("reverse payment", Payment)
def reverse_payment(
    *,
    key: uuid.UUID,
    payment: Payment,
    reason: str,
    paid_on: dt.date | None = None,
    actor: User | None,
    clock: Clock,
) -> Payment:
    """Reverse a payment whole, such as a bounced check: a row of its own below zero.

    The money is taken from wherever it stands by now, and invoices it had paid are owed again; what was refunded of
    it in the meantime is owed on the account. Raises Refused without a reason, for a payment that was reversed
    already, and for a refund or reversal.
    """
    now = clock()
    received = Payment.objects.select_related("customer").get(pk=payment.pk)
    if received.amount < 0:
        raise Refused("Only money that was received can be reversed.")
    if hasattr(received, "reversed_by"):
        raise Refused("This payment was reversed already.")
    if not reason.strip():
        raise Refused("Write why it is reversed, such as: the check bounced.", "reason")
    back = Handed(amount=-received.amount, method=received.method, paid_on=paid_on, reference=received.reference)
    row = _row(received.customer, back, actor, now, reason)
    _not_before(row, received.paid_on, "reversed", now)
    row.reverses = received
    parts = []
    there = accounts.places_of(received)
    for place, standing in there:
        parts.append(place.part(-standing))
    refunded = received.amount - sum((standing for _place, standing in there), ZERO)
    parts.append(accounts.on_account(received.customer).part(-refunded))
    for part in parts:
        part.of = received
    return _write(row, parts, actor, now, "reversed payment", of=received.pk, reason=reason)


@once("refund", Payment)
def refund(
    *,
    key: uuid.UUID,
    place: Place,
    reason: str,
    actor: User | None,
    clock: Clock,
    **handed: Unpack[Handed],
) -> Payment:
    """Give a customer money back: what an invoice is overpaid by, a deposit, or credit on the account.

    Raises Refused without a reason, for more than stands there, and for a day before it was paid.
    """
    now = clock()
    free, amount = accounts.refundable(place), handed["amount"]
    _check_amount(amount, "A refund")
    if amount > free:
        there = f"only {spoken(free)} can be refunded" if free > 0 else "there is nothing to refund"
        raise Refused(f"{where(place)} {there}.", "amount")
    if not reason.strip():
        raise Refused("Write why it is refunded.", "reason")
    row = _row(place.customer, {**handed, "amount": -amount}, actor, now, reason)
    parts = []
    for held, part in accounts.take(accounts.money_at(place), amount):
        parts.append(place.part(-part))
        parts[-1].of_id, parts[-1].customer_id = held
    received = Payment.objects.filter(pk__in=[part.of_id for part in parts]).aggregate(last=Max("paid_on"))["last"]
    _not_before(row, received, "refunded", now)
    return _write(row, parts, actor, now, "refunded", place=where(place))


@once("move money", Allocation)
def move_money(
    *, key: uuid.UUID | None, source: Place, target: Place, amount: Decimal, actor: User | None, clock: Clock
) -> Allocation:
    """Move money of one customer between two places: apply credit to an invoice, take it off, keep a deposit as credit.

    Raises Refused for more than stands at the source, more than is owed on an invoice that it goes to, and money of
    another customer.
    """
    now = clock()
    if source.customer != target.customer or source == target:
        raise Refused("Money is moved between the invoices and the account of one customer.")
    _check_amount(amount, "What is moved")
    there = accounts.movable(source)
    if amount > there:
        free = f"only {spoken(there)} is there" if there > 0 else "nothing is left"
        raise Refused(f"{where(source)} {free}.", "amount")
    if target.invoice is not None and amount > max(ZERO, _balance(target.invoice)):
        raise Refused(f"{where(target)} only {spoken(max(ZERO, _balance(target.invoice)))} is owed.", "amount")
    parts = []
    for held, part in accounts.take(accounts.money_at(source), amount):
        given, taken = source.part(-part), target.part(part)
        given.of_id, given.customer_id = held
        taken.of_id = held.payment
        parts += [given, taken]
    act = Allocation(customer=source.customer, amount=amount, at=now, by=actor)
    _sealed(act, parts)
    _settle(parts, actor, now)
    details = {"from": where(source), "to": where(target), "amount": str(amount)}
    audit.record("moved money", act, actor=actor, now=now, **details)
    return act


def apply_deposit(invoice: Invoice, *, actor: User | None, now: dt.datetime) -> None:
    """Apply the job's deposit to the invoice just issued, up to what is owed; the rest stands as credit."""
    if invoice.job is None:
        return
    place, clock = accounts.on_job(invoice.job), fixed(now)
    there = accounts.movable(place)
    used = min(there, accounts.owed(invoice))
    if used > 0:
        target = accounts.on_invoice(invoice)
        move_money(key=None, source=place, target=target, amount=used, actor=actor, clock=clock)
    if there > used:
        target = accounts.on_account(invoice.customer)
        move_money(key=None, source=place, target=target, amount=there - used, actor=actor, clock=clock)


def where(place: Place) -> str:
    """A place as it begins a sentence about what is there."""
    if place.invoice is not None:
        return f"On invoice {place.invoice.label}"
    return f"On {place.job}" if place.job is not None else "On the account"


def _balance(invoice: Invoice) -> Decimal:
    receivable = Receivable.objects.filter(invoice=invoice).first()
    if receivable is None:
        raise Refused(_("Nothing is paid on a credit memo: it is set against its invoice."))
    return receivable.balance


def _check_amount(amount: Decimal, what: str) -> None:
    if amount <= 0:
        raise Refused(f"{what} must be more than zero.", "amount")


def _not_before(row: Payment, received: dt.date, word: str, now: dt.datetime) -> None:
    """Refuse to give back what had not come; what was recorded while the clock was ahead may go on any day since."""
    if row.paid_on < min(received, shop.day_of(now)):
        raise Refused(f"The payment is of {dates.day(received)}: it was not {word} before.", "paid_on")


def _row(customer: Customer, handed: Handed, actor: User | None, now: dt.datetime, reason: str = "") -> Payment:
    """A payment before it is written; Refused for an unknown method and an impossible day."""
    if handed["method"] not in Payment.Method.values:
        raise Refused("Choose how it was paid: cash, card, transfer or check.", "method")
    today = shop.day_of(now)
    paid_on = handed.get("paid_on") or today
    if paid_on > today:
        raise Refused("This day is in the future: money is recorded once it was paid.", "paid_on")
    if today - paid_on > OLDEST:
        raise Refused("This day is more than ten years ago.", "paid_on")
    person = freezing.person_on_paper(customer, now)
    return Payment(
        customer=customer,
        person=person,
        person_seal=person.seal(),
        method=handed["method"],
        amount=handed["amount"],
        currency=shop.profile().currency,
        paid_on=paid_on,
        at=now,
        by=actor,
        **aside(reference=handed.get("reference", "").strip(), reason=reason.strip()),
    )


def _write(
    row: Payment, parts: Sequence[PaymentPart], actor: User | None, now: dt.datetime, verb: str, **details: object
) -> Payment:
    """Seal a payment, store where its money goes, and let invoices, jobs and the receipt follow."""
    parts = [part for part in parts if part.amount]
    row.papers_seq = Invoice.objects.aggregate(last=Max("chain_seq"))["last"] or 0
    _sealed(row, parts)
    _settle(parts, actor, now)
    if row.reverses_id is None:
        wanted_receipt(row, now)
    audit.record(verb, row, actor=actor, now=now, amount=str(row.amount), paid_on=row.paid_on.isoformat(), **details)
    return row


def _sealed(act: Payment | Allocation, parts: Sequence[PaymentPart]) -> None:
    """Seal an act with money over its parts, append it to its chain, and store the parts."""
    for part in parts:
        if part.customer.walk_in and part.amount > 0 and part.invoice_id is None and part.job_id is None:
            _only_what_is_owed(act, part)
    act.content_sha256 = freezing.parts_seal(parts)
    append(act)
    for part in parts:
        if isinstance(act, Payment):
            part.payment = act
        else:
            part.allocation = act
    PaymentPart.objects.bulk_create(parts)


def _only_what_is_owed(act: Payment | Allocation, part: PaymentPart) -> None:
    """A walk-in sale keeps no credit; what was refunded of a check that then bounced can be paid back.

    By new money alone: what pays another sale is not taken off that one.
    """
    if isinstance(act, Allocation) or accounts.credit_of(part.customer) + part.amount > 0:
        raise Refused("A walk-in sale has no account: take what is owed, and refund what is overpaid.", "amount")


def _settle(parts: Sequence[PaymentPart], actor: User | None, now: dt.datetime) -> None:
    """Change what is owed on the invoices that money went to or came from."""
    for part in parts:
        if part.invoice is not None:
            owe(part.invoice, -part.amount, actor=actor, now=now)


def wanted_receipt(payment: Payment, now: dt.datetime) -> Document:
    """Ask for the receipt of a payment, deposit or refund; it is made once."""
    return documents.want("receipt", payment.pk, name=f"Receipt {payment.chain_seq}.pdf", clock=fixed(now))
