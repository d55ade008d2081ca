"""Advance invoices: where a deposit for known work is a tax point, it is invoiced when it is received.

The advance invoice states net, class, rate and tax of the deposit (EU Directive 2006/112/EC, art. 65, from memory);
the final invoice takes its net and tax off, in rows of their own, so that every tax is stated once. The shop's
profile says whether deposits are taxed (`deposits_taxed`); where they are not, nothing here is used.
"""

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal

from garage import audit
from garage.clock import Clock
from garage.errors import Refused
from garage.models import TaxClass, User
from garage.money import spoken
from invoicing import accounts, advances, charges, freezing, queries
from invoicing.actions import issuing
from invoicing.models import Estimate, Invoice, InvoiceLine, InvoiceOperation, Receivable
from invoicing.sums import Charge, TaxSum, counted, with_taxes
from jobs.models import Job


def issue_advance(
    job: Job, amount: Decimal, *, actor: User | None, clock: Clock, now: dt.datetime, clock_reason: str = ""
) -> Invoice:
    """Issue the advance invoice of a deposit, tax included. Part of the verb that takes the deposit.

    Raises Refused without an estimate, whose work the deposit is for, above what it comes to, and as a number does.
    """
    invoice = issuing.numbered(now, clock=clock, clock_reason=clock_reason, actor=actor)
    estimate = queries.latest_estimate(job)
    if estimate is None:
        raise Refused("Deposits are taxed here: write the estimate first, so that the tax on this one is known.")
    shares, taxes = _split(job, estimate, amount, invoice.issued_on)
    deposit = [_charge(share) for share in shares]
    invoice.kind, invoice.notices = Invoice.Kind.ADVANCE, {"estimate": estimate.label}
    sums = with_taxes(deposit, tuple(taxes))
    issuing.fill(invoice, job, sums, actor=actor, now=now)
    title = f"Deposit for the work on estimate {estimate.label}"
    operation = InvoiceOperation(invoice=invoice, position=1, title=title, net=invoice.net)
    lines = [InvoiceLine(invoice_operation=operation, **frozen) for frozen in freezing.lines_on_paper(deposit)]
    issuing.write(invoice, [operation], lines, issuing.tax_rows(invoice, sums))
    Receivable.objects.create(
        invoice=invoice,
        customer=job.customer,
        due_on=invoice.due_on,
        currency=invoice.currency,
        balance=invoice.gross,
    )
    issuing.announce(invoice, mail_to="", actor=actor, now=now)
    audit.record("issued", invoice, actor=actor, now=now, net=str(invoice.net), gross=str(invoice.gross))
    return invoice


def _split(
    job: Job, estimate: Estimate, amount: Decimal, on: dt.date
) -> tuple[Sequence[advances.Share], Sequence[TaxSum]]:
    """The deposit over the taxes of the offered work, at the rates of the day; Refused above what it comes to."""
    offered = counted(charges.as_offered(estimate))
    work = charges.sums_of(offered, job.customer, queries.rates_on(on), on)
    if accounts.advanced(job) + amount > work.gross:
        raise Refused(f"A deposit cannot be more than the estimated total of {spoken(work.gross)}.", "amount")
    return advances.split(amount, offered, work.taxes)


def _charge(share: advances.Share) -> Charge:
    """A line of an advance invoice. It stands for all classes that bear the same taxes, and is in the first of them."""
    names = [str(TaxClass(name).label) for name in share.classes]
    one = Decimal(1)
    return Charge(
        line=None,
        kind="charge",
        description=f"Deposit for {', '.join(names)}",
        quantity=one,
        unit="each",
        unit_price=share.net,
        tax_class=share.classes[0],
        net=share.net,
        base_quantity=one,
    )
