"""Advance invoices: where a deposit for known work is a tax point, it is invoiced when it is received.

The advance invoice states net, class, rate and tax of the deposit (EU Directive 2006/112/EC, art. 65, from memory);
the final invoice takes its net and tax off, in rows of their own, so that every tax is stated once. The shop's
profile says whether deposits are taxed (`deposits_taxed`); where they are not, nothing here is used.
"""

import datetime as dt
from decimal import Decimal

from garage import audit, shop
from garage.errors import Refused
from garage.models import User
from invoicing import accounts, advances, charges, freezing, queries
from invoicing.actions import issuing
from invoicing.comparing import amount as said
from invoicing.models import Estimate, Invoice, InvoiceLine, InvoiceOperation, InvoiceTax, Receivable
from invoicing.sums import Sums, counted
from jobs.models import Job


def issue_advance(job: Job, amount: Decimal, *, actor: User | None, now: dt.datetime) -> Invoice:
    """Issue the advance invoice of a deposit, tax included. Part of the verb that takes the deposit.

    Raises Refused without an estimate, whose work the deposit is for, and above what it comes to.
    """
    estimate = queries.latest_estimate(job)
    if estimate is None:
        raise Refused("Deposits are taxed here: write the estimate first, so that the tax on this one is known.")
    invoice = issuing.numbered(now)
    work = _work(estimate, invoice.issued_on)
    so_far = sum((row.gross for row in accounts.standing_advances(job)), accounts.ZERO)
    if so_far + amount > work.gross:
        raise Refused(f"A deposit cannot be more than the estimated total of {said(work.gross)}.", "amount")
    shares = advances.split(amount, work)
    _fill(invoice, job, estimate, shares, actor, now)
    operation = InvoiceOperation(
        invoice=invoice, position=1, title=f"Deposit for the work on estimate {estimate.label}", net=invoice.net
    )
    lines = [_line(operation, place, share, 1) for place, share in enumerate(shares, start=1)]
    taxes = [
        InvoiceTax(
            invoice=invoice, tax_classes=" ".join(share.classes), label=label, rate=rate, base=share.net, tax=tax
        )
        for share in shares
        for label, rate, tax in share.taxes
    ]
    issuing.write(invoice, [operation], lines, taxes)
    Receivable.objects.create(invoice=invoice, customer=job.customer, due_on=invoice.due_on, balance=invoice.gross)
    issuing.announce(invoice, mail_to="", actor=actor, now=now)
    audit.record("issued", invoice, actor=actor, now=now, net=str(invoice.net), gross=str(invoice.gross))
    return invoice


def _work(estimate: Estimate, on: dt.date) -> Sums:
    """What the offered work comes to with the taxes of the day."""
    offered = counted(charges.as_offered(estimate))
    return charges.sums_of(offered, estimate.job.customer, queries.rates_on(on), on)


def _fill(
    invoice: Invoice,
    job: Job,
    estimate: Estimate,
    shares: list[advances.Share],
    actor: User | None,
    now: dt.datetime,
) -> None:
    """Copy everything that is printed onto the advance invoice."""
    profile = shop.profile()
    invoice.kind, invoice.job, invoice.customer = Invoice.Kind.ADVANCE, job, job.customer
    invoice.person = freezing.person_on_paper(job.customer, now)
    invoice.person_seal = invoice.person.seal()
    invoice.shop, invoice.currency = freezing.shop_on_paper(profile), profile.currency
    invoice.order_number, invoice.issued_by = job.order_number, actor
    invoice.exemption, invoice.notices = estimate.exemption, {"estimate": estimate.label}
    for name, text in freezing.vehicle_on_paper(job.vehicle).items():
        setattr(invoice, name, text)
    invoice.net = invoice.other_net = sum((share.net for share in shares), accounts.ZERO)
    invoice.labor_net = invoice.parts_net = accounts.ZERO
    invoice.gross = sum((share.gross for share in shares), accounts.ZERO)
    invoice.tax = invoice.gross - invoice.net


def _line(operation: InvoiceOperation, position: int, share: advances.Share, sign: int) -> InvoiceLine:
    return InvoiceLine(
        invoice_operation=operation,
        position=position,
        kind="charge",
        description=f"Deposit, {' and '.join(share.classes)}",
        quantity=Decimal(sign),
        unit="each",
        unit_price=share.net,
        tax_class=share.classes[0],
        net=sign * share.net,
    )


def take_off_advances(
    invoice: Invoice, operations: list[InvoiceOperation], lines: list[InvoiceLine], taxes: list[InvoiceTax]
) -> None:
    """Take the job's advance invoices off its final invoice before it is sealed: their net, and their tax.

    Raises Refused when they come to more than the invoice: one of them is credited first.
    """
    if invoice.job is None:
        return
    for advance in accounts.standing_advances(invoice.job):
        operation = InvoiceOperation(
            invoice=invoice,
            advance=advance,
            position=len(operations) + 1,
            title=f"Less advance invoice {advance.label} of {shop.day_words(advance.issued_on)}",
            net=-advance.net,
        )
        operations.append(operation)
        for row in InvoiceLine.objects.filter(invoice_operation__invoice=advance):
            lines.append(_taken_off(operation, row))
        taxes += [_tax_taken_off(invoice, advance, row) for row in advance.taxes.all()]
        invoice.other_net -= advance.net
        invoice.net -= advance.net
        invoice.tax -= advance.tax
        invoice.gross -= advance.gross
    if invoice.gross < 0:
        raise Refused(
            f"The advance invoices come to {said(-invoice.gross)} more than this invoice: credit the last advance "
            "invoice first. What was paid on it can then be applied here, and the rest refunded."
        )


def _taken_off(operation: InvoiceOperation, row: InvoiceLine) -> InvoiceLine:
    share = advances.Share((row.tax_class,), row.net, ())
    line = _line(operation, row.position, share, -1)
    line.description = row.description
    return line


def _tax_taken_off(invoice: Invoice, advance: Invoice, row: InvoiceTax) -> InvoiceTax:
    label = f"{row.label}, advance {advance.label}"[:60]
    return InvoiceTax(
        invoice=invoice, tax_classes=row.tax_classes, label=label, rate=row.rate, base=-row.base, tax=-row.tax
    )
