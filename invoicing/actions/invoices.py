"""Issuing invoices and credit notes: numbered without gap, sealed, never changed.

Issuing writes, in one transaction, the number, the frozen rows, what is owed, the wish for the PDF and for its mail.
Nothing above what was authorized is issued; a mistake is corrected by a credit note that names its invoice.
"""

import datetime as dt
import uuid
from collections.abc import Collection, Mapping, Sequence
from decimal import Decimal

from django.utils.translation import gettext as _

from garage import audit, shop
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.idempotency import once
from garage.ledger import aside
from garage.models import User
from garage.money import spoken
from invoicing import crediting, drafts, freezing, leaving, queries, tax_changes
from invoicing.actions import issuing
from invoicing.actions.payments import apply_deposit
from invoicing.actions.returning import to_the_shelf
from invoicing.crediting import Credited
from invoicing.drafts import DraftInvoice, draft
from invoicing.models import Invoice, InvoiceLine, InvoiceOperation, Receivable
from invoicing.notices import notices_of
from jobs import consent_words, stages
from jobs import queries as jobs_queries
from jobs.actions.stages import move
from jobs.consent import Excess
from jobs.models import Job, JobStep


class OverLimit(Refused):
    """The invoice holds what the customer did not authorize; `excess` says per operation what, and by how much."""

    def __init__(self, excess: Sequence[Excess]) -> None:
        self.excess = tuple(excess)
        said = " ".join(consent_words.excess(row) for row in excess)
        super().__init__(f"{said} Write a revised estimate and ask the customer first.")

    @property
    def over(self) -> Decimal:
        """By how much the operations are above their limits, together."""
        return sum((row.over for row in self.excess), Decimal("0.00"))


@once("issue invoice", Invoice)
def issue(
    *,
    key: uuid.UUID | None,
    job: Job,
    due_on: dt.date | None = None,
    mail_to: str = "",
    leaving_out: Collection[int] = (),
    told: str = "",
    shown: Decimal | None = None,
    clock_reason: str = "",
    actor: User | None,
    clock: Clock,
) -> Invoice:
    """Issue the invoice of a finished job, with its PDF wanted and, if `mail_to` is given, its mail waiting.

    `told` is who was told of a tax that the law changed since the customer's yes, `clock_reason` why the owner lets
    it bear a day that was asked about. `leaving_out` are the operations whose finished work is confirmed to be left
    out; it can be billed later (`bill_left_out`). `shown` is the total of the draft that was looked at. The same `key`
    again gives the same invoice. Raises OverLimit for what was not authorized, and Refused for a job that is not
    finished, has an invoice, has nothing to bill, lacks a tax rate, comes to another total than was shown, has skipped
    steps without an answer, leaves out finished work unconfirmed, or whose taxes the garage changed since the yes.
    """
    now = clock()
    invoice = issuing.numbered(now, clock=clock, clock_reason=clock_reason, actor=actor)
    fresh = jobs_queries.sheets().get(pk=job.pk)
    made = draft(fresh, invoice.issued_on)
    for sentence in made.blocks:
        raise Refused(sentence)
    if made.excess:
        raise OverLimit(made.excess)
    leaving.confirm(made.left_out, leaving_out)
    invoice.consent_seq = made.consent.seq
    work = drafts.sums_of(made)
    if work.gross < 0:
        raise Refused(f"This comes to {spoken(work.gross)} with tax: {drafts.BELOW_ZERO}")
    bill = drafts.as_shown(drafts.less_advances(made, work), shown)
    issuing.fill(invoice, fresh, bill, actor=actor, now=now)
    invoice.odometer_in = freezing.odometer_on_paper(fresh.odometer_in)
    invoice.odometer_out = freezing.odometer_on_paper(fresh.odometer_out)
    invoice.notices = notices_of(fresh, now)
    tax_changes.settle(invoice, tax_changes.tax_changes(fresh, made.charges, invoice.issued_on), told)
    invoice.due_on = due_on or freezing.due_after(fresh.customer, now)
    if invoice.due_on < invoice.issued_on:
        raise Refused("An invoice cannot be due before it is issued.", "due_on")
    issuing.write(invoice, *_rows(invoice, made), issuing.tax_rows(invoice, bill))
    Receivable.objects.create(
        invoice=invoice,
        customer=fresh.customer,
        due_on=invoice.due_on,
        currency=invoice.currency,
        balance=invoice.gross,
    )
    move(fresh, stages.INVOICED, actor=actor, clock=fixed(now))
    issuing.settle_job(fresh, actor=actor, now=now)
    apply_deposit(invoice, actor=actor, now=now)
    issuing.announce(invoice, mail_to=mail_to, actor=actor, now=now)
    totals = {"net": str(invoice.net), "gross": str(invoice.gross)}
    left_out = [row.sentence for row in made.left_out]
    audit.record("issued", invoice, actor=actor, now=now, **totals, left_out=left_out)
    return invoice


def _rows(invoice: Invoice, made: DraftInvoice) -> tuple[list[InvoiceOperation], list[InvoiceLine]]:
    worked = _technicians(made.job)
    operations, lines = [], []
    for position, row in enumerate([*made.operations, *made.taken_off], start=1):
        operation = InvoiceOperation(
            invoice=invoice,
            operation_id=row.operation,
            advance_id=row.advance,
            position=position,
            title=row.title,
            net=row.net,
            **aside(
                concern=row.concern,
                cause=row.cause,
                correction=row.correction,
                technicians=", ".join(worked.get(row.operation, [])),
            ),
        )
        operations.append(operation)
        for charge, frozen in zip(row.charges, freezing.lines_on_paper(row.charges), strict=True):
            cost = made.costs.get(charge.line or 0, Decimal(0))
            lines.append(InvoiceLine(invoice_operation=operation, line_id=charge.line, cost=cost, **frozen))
    return operations, lines


def _technicians(job: Job) -> dict[int | None, list[str]]:
    """Who did the steps of each operation, by the operation's key; where nobody ticked, who it was given to."""
    ticked = JobStep.objects.filter(operation__job=job, state=JobStep.State.DONE, by__isnull=False)
    names: dict[int | None, list[str]] = {}
    for step in ticked.select_related("by").order_by("position"):
        known = names.setdefault(step.operation_id, [])
        if str(step.by) not in known:
            known.append(str(step.by))
    for operation in job.operations.all():
        given = operation.technician or job.technician
        if operation.pk not in names and given is not None:
            names[operation.pk] = [str(given)]
    return names


@once("credit invoice", Invoice)
def credit(
    *,
    key: uuid.UUID,
    invoice: Invoice,
    lines: Mapping[int, Decimal] | None = None,
    returns: Mapping[int, Decimal] | None = None,
    reason: str,
    bill_again: bool = True,
    mail_to: str = "",
    clock_reason: str = "",
    actor: User | None,
    clock: Clock,
) -> Invoice:
    """Take an invoice back, whole or in part, by a credit note of its own number that names it.

    `lines` gives the quantity to credit by the invoice line's primary key, above zero for lines below zero too; None
    credits all that is left, after which the job can be invoiced again, unless `bill_again` is False. `returns` gives
    what of it goes back to the shelf, in the unit billed. The credit takes back the cost of what is returned, and all
    of it when the job will be billed again: the next invoice bears it then, so that each draw counts once. What was
    paid too much then stands below zero on the invoice until it is given back. With all that was billed goes what was
    taken off it: an advance invoice stands again. Raises Refused without a reason, for more than is left, for what
    would charge the customer, for a credit note, and for an advance invoice in part or while an invoice takes it off.
    """
    now = clock()
    note = issuing.numbered(now, clock=clock, clock_reason=clock_reason, actor=actor)
    original = queries.whole_invoices().get(pk=invoice.pk)
    if original.kind == Invoice.Kind.CREDIT_NOTE:
        raise Refused(_("A credit memo is not credited: issue a new invoice instead."))
    if not reason.strip():
        raise Refused(_("Write why it is credited: the reason is printed on the credit memo."), "reason")
    taken = crediting.credited(original, lines)
    again = taken.whole and bill_again and original.kind == Invoice.Kind.INVOICE
    again = again and original.consent != Invoice.Consent.SALE  # what comes back is sold anew
    taken = to_the_shelf(note, taken, returns or {}, again=again, actor=actor, now=now)
    _copy(note, original, taken, reason, actor)
    issuing.write(note, *_credit_rows(note, taken), issuing.tax_rows(note, taken.sums))
    issuing.owe(original, note.gross, actor=actor, now=now)
    if again and original.job is not None:
        move(original.job, stages.FINISHED, actor=actor, clock=fixed(now))
    issuing.announce(note, mail_to=mail_to, actor=actor, now=now)
    audit.record("credited", original, actor=actor, now=now, note=note.label, gross=str(note.gross), reason=reason)
    return note


def _copy(note: Invoice, original: Invoice, taken: Credited, reason: str, actor: User | None) -> None:
    """Copy what a credit note prints from the invoice it corrects; the person's side row is shared."""
    same = (
        "job", "customer", "person", "person_seal", "vehicle_text", "vin", "plate", "odometer_in", "odometer_out",
        "order_number", "currency", "exemption", "consent",
    )  # fmt: skip
    issuing.copy(note, {name: getattr(original, name) for name in same})
    note.kind, note.corrects, note.issued_by = Invoice.Kind.CREDIT_NOTE, original, actor
    note.shop = freezing.shop_on_paper(shop.profile())
    note.notices = {"reason": reason.strip(), "shelf": taken.on_the_shelf}
    issuing.copy(note, freezing.sums_on_paper(taken.sums))


def _credit_rows(note: Invoice, taken: Credited) -> tuple[list[InvoiceOperation], list[InvoiceLine]]:
    operations, lines = [], []
    for position, (original, credited) in enumerate(taken.by_operation(), start=1):
        net = sum((row.charge.net for row in credited), Decimal("0.00"))
        same = {name: getattr(original, name) for name in ("operation_id", "advance_id", "title")}
        operation = InvoiceOperation(invoice=note, position=position, net=net, **same)
        operations.append(operation)
        columns = freezing.lines_on_paper([row.charge for row in credited])
        for row, frozen in zip(credited, columns, strict=True):
            lines.append(
                InvoiceLine(
                    invoice_operation=operation, line_id=row.line.line_id, credits=row.line, cost=row.cost, **frozen
                )
            )
    return operations, lines
