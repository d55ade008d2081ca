"""A job's invoice before it is issued: what was done and drawn, and where that differs from what was authorized."""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from django.utils.translation import gettext as _

from garage import dates
from garage.errors import Refused
from garage.money import spoken
from invoicing import accounts, advances, charges, consents, leaving, queries
from invoicing.comparing import how_much, line_change, more_or_less, what_changed
from invoicing.leaving import LeftOut
from invoicing.models import Authorization, Invoice, InvoiceTax
from invoicing.sums import Charge, OperationCharges, Sums, TaxSum
from jobs import consent_words, skipped, stages
from jobs import queries as jobs_queries
from jobs.consent import AUTHORIZED, UNDECIDED, Consent, Excess, excess_of
from jobs.consents import work_of
from jobs.fitted import Fitted, fitted_for
from jobs.models import Job, JobStep
from jobs.not_done import missing_words
from jobs.offers import WRITE_OFF, Work
from jobs.skipped import Asked
from jobs.write_offs import too_much_off

ZERO = Decimal("0.00")
BELOW_ZERO = (
    "an invoice cannot owe the customer money. Lower the goodwill, or give the money back by a credit of the earlier "
    "invoice and a refund."
)


NOT_NEEDED = (
    "authorized if needed, and not written as used. It is not billed (once used, say so on its line on the sheet)"
)


@dataclass(frozen=True)
class DraftInvoice:
    """What would be billed now.

    `differences` are sentences for the counter, `short` what the shelf lacked, `blocks` what forbids issuing.
    `excess` is what of it was not authorized, per operation (empty: all was). `costs` is what the shelf gave up, by
    line, less what credited papers still bear of it. `on` is the day it is taxed at, `earlier` are the job's invoices
    that stand, `before` is what was billed for work. `skipped` is work with skipped steps, of which is asked what was
    done; `left_out` is finished work that this bill leaves out. `advances` are the advance invoices that it takes off.
    """

    job: Job
    on: dt.date
    operations: tuple[OperationCharges, ...]
    authorization: Authorization | None
    differences: tuple[str, ...]
    short: tuple[str, ...]
    blocks: tuple[str, ...]
    costs: dict[int, Decimal]
    consent: Consent
    excess: tuple[Excess, ...]
    earlier: tuple[Invoice, ...]
    before: Decimal
    skipped: tuple[Asked, ...]
    left_out: tuple[LeftOut, ...]
    advances: tuple[Invoice, ...] = ()

    @property
    def taken_off(self) -> list[OperationCharges]:
        """The advance invoices turned around, as they stand on the invoice after its work."""
        before = len(self.operations)
        return [_turned_around(row, before + place) for place, row in enumerate(self.advances, start=1)]

    @property
    def charges(self) -> list[Charge]:
        """Every line that would be billed."""
        return [charge for operation in self.operations for charge in operation.charges]

    @property
    def net(self) -> Decimal:
        """What would be billed before tax."""
        return sum((charge.net for charge in self.charges), Decimal("0.00"))

    @property
    def limit(self) -> Decimal:
        """What is authorized before tax of the work on the sheet; each operation has a limit of its own."""
        return sum((row.net for row in self.consent.operations.values()), Decimal("0.00"))

    @property
    def over(self) -> list[str]:
        """What was not authorized, a sentence an operation."""
        return [consent_words.excess(row) for row in self.excess]


def draft(job: Job, on: dt.date) -> DraftInvoice:
    """Build the invoice of a job on a day from what was done and drawn; `job` comes from `jobs.queries.sheets`."""
    consent = charges.consent_on(job, on)
    earlier = queries.standing_invoices(job)
    billed_before = queries.operations_on(earlier)
    written = [row for row in charges.operation_charges(job, consent) if row.operation not in billed_before]
    states = {row.pk: charges.work_state(row) for row in job.operations.all()}
    billable = [row for row in written if row.decision == AUTHORIZED]
    lines = [line for row in job.operations.all() for line in row.lines.all() if line.item_id]
    used = jobs_queries.used(lines)
    parts = skipped.asked(row for row in job.operations.all() if row.pk in {one.operation for one in billable})
    borne = queries.costs_borne(used) if used else {}
    from_shelf = {line.pk for line in lines}
    fitted = fitted_for(lines, used)
    differences = _against_the_record(consent, billable)
    billed: list[OperationCharges] = []
    for operation in billable:
        state, part = states[operation.operation or 0], parts.get(operation.operation or 0)
        if state == "open" or (state in ("left", "ended") and not (part is not None and part.billed)):
            differences.append(_not_done(operation, state))
            continue
        if part is not None and part.not_billed:
            continue
        kept, said = _as_drawn(operation, used, from_shelf)
        billed.append(_with_answer(_as_fitted(kept, fitted), part))
        differences += said
        differences += [_other_number(fitted[row.line or 0]) for row in kept.charges if row.line in fitted]
    bill = bill_of(job, billed, on)
    left_out = leaving.left_out(job, consent, {row.operation for row in billed} | billed_before)
    named = {row.operation for row in left_out}
    differences += [
        f"“{row.title}” is not decided on: it is not billed."
        for row in written
        if row.decision == UNDECIDED and consent.of(row.operation).asks and row.operation not in named
    ]
    return DraftInvoice(
        job=job,
        on=on,
        operations=tuple(billed),
        authorization=queries.last_authorization(job),
        differences=tuple(differences),
        short=tuple(_shortages(job)),
        blocks=(*_blocks(job, billed, bool(billed_before)), *_unanswered(parts), *_written_off_in_vain(consent, bill)),
        costs={key: row.cost - borne.get(key, ZERO) for key, row in used.items()},
        consent=consent,
        excess=_excess(consent, bill, earlier),
        earlier=tuple(earlier),
        before=queries.billed_net(job),
        skipped=tuple(parts.values()),
        left_out=left_out,
        advances=tuple(accounts.standing_advances(job)),
    )


def _excess(consent: Consent, bill: list[Work], earlier: list[Invoice]) -> tuple[Excess, ...]:
    """What of a bill was not authorized; what earlier invoices took of the slack is not there a second time."""
    now = {work.operation for work in bill}
    return tuple(row for row in excess_of(consent, [*consents.billed(earlier), *bill]) if row.operation in now)


def bill_of(job: Job, billed: Iterable[OperationCharges], on: dt.date) -> list[Work]:
    """What would be billed on a day, as consent looks at it: the sheet's lines in the quantities that were used."""
    exempt = job.customer.exempt_on(on)
    works = {row.pk: work_of(row, exempt) for row in job.operations.all()}
    lines = {line.key: line for work in works.values() for line in work.lines}
    return [
        replace(works[row.operation or 0], lines=tuple(replace(lines[one.line], net=one.net) for one in row.charges))
        for row in billed
    ]


def _against_the_record(consent: Consent, billable: list[OperationCharges]) -> list[str]:
    """Where the sheet is no longer what was said yes to: taken off, cheaper, less."""
    agreed = charges.agreed(consent)
    said = [
        sentence
        for row in billable
        if row.operation in agreed  # what is sold over the counter was offered on no paper
        for sentence in what_changed([agreed[row.operation]], [_charged(row)])
    ]
    gone = [f"“{row.title}” was authorized and taken off the sheet: it is not billed, {spoken(row.net)} less."
            for row in consent.gone]  # fmt: skip
    return said + gone


def _charged(operation: OperationCharges) -> OperationCharges:
    """The operation without what is written off on it: the draft says that by itself."""
    return replace(operation, charges=tuple(row for row in operation.charges if row.finer != WRITE_OFF))


def _not_done(operation: OperationCharges, state: str) -> str:
    reason = {"left": "its steps were skipped", "ended": "it ended as not done", "open": "steps of it are open"}[state]
    return f"“{operation.title}” was authorized, but {reason}: it is not billed, {spoken(operation.net)} less."


def _as_drawn(
    operation: OperationCharges, used: dict[int, jobs_queries.Used], from_shelf: set[int]
) -> tuple[OperationCharges, list[str]]:
    """The operation with what was drawn in place of what was written, and what that changes."""
    kept: list[Charge] = []
    said: list[str] = []
    billed: dict[int, Decimal] = {}
    for charge in operation.charges:
        if charge.under is not None:
            kept += _hanging(charge, billed)
            continue
        if charge.line not in from_shelf and charge.if_needed:
            said.append(f"{charge.description}: {NOT_NEEDED}, {spoken(charge.net)} less.")
            continue
        if charge.line not in from_shelf:
            kept.append(charge)
            billed[charge.line or 0] = charge.quantity
            continue
        quantity = used.get(charge.line or 0, jobs_queries.NOTHING).quantity
        drawn = replace(charge.drawn(quantity), if_needed=False)  # what was used was needed
        billed[charge.line or 0] = max(drawn.quantity, Decimal(0))
        if drawn.quantity <= 0:
            said.append(
                f"{charge.description}: {how_much(charge.quantity, charge.unit)} authorized, none taken from the "
                f"shelf. It is not billed, {spoken(charge.net)} less."
            )
            continue
        kept.append(drawn)
        if line_change(replace(charge, if_needed=False), drawn):
            said.append(
                f"{charge.description}: {how_much(charge.quantity, charge.unit)} authorized, "
                f"{how_much(drawn.quantity, drawn.unit)} used, {more_or_less(drawn.net - charge.net)}."
            )
    return replace(operation, charges=tuple(kept)), said


def _as_fitted(operation: OperationCharges, fitted: Mapping[int, Fitted]) -> OperationCharges:
    """The operation with the numbers that the shelf really gave, in the place of those that were written."""
    return replace(operation, charges=tuple(_with_number(row, fitted.get(row.line or 0)) for row in operation.charges))


def _other_number(given: Fitted) -> str:
    return f"{given.what} ({given.note}): another number of the same part, which needs no new yes."


def _with_number(charge: Charge, given: Fitted | None) -> Charge:
    if given is None:
        return charge
    return replace(charge, description=given.what, item_id=given.item, fitted=given.note)


def _hanging(charge: Charge, billed: dict[int, Decimal]) -> list[Charge]:
    """A core as often as its part is billed, and a returned core at most as often as its core; none where that is not.

    What hangs on a line stands after it; `billed` is how much of each line is billed, and learns of this one.
    """
    quantity = billed.get(charge.under or 0, Decimal(0))
    if charge.quantity < 0:
        quantity = max(charge.quantity, -quantity)
    billed[charge.line or 0] = quantity
    return [replace(charge.at(quantity), if_needed=False)] if quantity else []


def _shortages(job: Job) -> Iterable[str]:
    """What the shelf lacked at a step: used on the car, but not drawn, so not billed."""
    for operation in job.operations.all():
        for step in operation.steps.all():
            if step.shortage and step.state == JobStep.State.DONE:
                yield step.shortage


def _with_answer(operation: OperationCharges, part: Asked | None) -> OperationCharges:
    """The operation with what was said of its skipped steps behind what was done."""
    if part is None:
        return operation
    return replace(operation, correction=" ".join(filter(None, [operation.correction, part.said])))


def _unanswered(parts: Mapping[int, Asked]) -> Iterable[str]:
    return (part.problem for part in parts.values() if part.problem)


def _written_off_in_vain(consent: Consent, bill: list[Work]) -> Iterable[str]:
    """What would be given up for nothing, under the name of what is no longer on the bill."""
    for work in bill:
        yes = consent.of(work.operation).yes
        if yes is not None and (off := too_much_off(yes, work)):
            yield (
                f"“{work.title}”: {spoken(off)} more is taken off than is above what was authorized, since the work "
                "was changed after it. Undo that, then look at what is left."
            )


def _blocks(job: Job, billed: list[OperationCharges], has_invoice: bool) -> Iterable[str]:
    """What must be put right before an invoice can be issued."""
    if has_invoice and job.stage not in stages.OPEN:
        yield _("%(job)s has an invoice already; a credit memo corrects it.") % {"job": job}
    elif job.stage in stages.BILLED and job.is_sale:
        yield f"{job} is over: what is returned over the counter is sold again."
    elif job.stage in stages.BILLED:
        yield f"{job} is {job.get_stage_display()}, and has no open invoice: reopen it first."
    elif job.stage != stages.FINISHED:
        yield f"{job} is {job.get_stage_display()}: the work must be finished in the bay first."
    elif not any(operation.charges for operation in billed):
        yield "Nothing that was authorized was done: there is nothing to bill."
    if (net := sum((operation.net for operation in billed), Decimal(0))) < 0:
        yield f"This comes to {spoken(net)}: {BELOW_ZERO}"
    yield from missing_words(job)
    if job.customer.order_number_required and not job.order_number.strip():
        yield f"{job.customer.name} needs an order number on every invoice: write it on the job."


def sums_of(made: DraftInvoice) -> Sums:
    """What the work of a draft comes to with the taxes of its day; Refused without a tax rate."""
    return charges.sums_of(made.charges, made.job.customer, queries.rates_on(made.on), made.on)


def less_advances(made: DraftInvoice, work: Sums) -> Sums:
    """What a draft bills: its work, less the net and the taxes of the advance invoices.

    Raises Refused when they come to more than the work: the last of them is credited first.
    """
    bill = advances.less(work, made.taken_off, [_tax_off(row) for one in made.advances for row in one.taxes.all()])
    if made.advances and bill.gross < 0:
        raise Refused(
            f"The advance invoices come to {spoken(-bill.gross)} more than this invoice: credit "
            f"{made.advances[-1].label} first. What was paid on it can then be applied here, and the rest refunded."
        )
    return bill


def as_shown(bill: Sums, shown: Decimal | None) -> Sums:
    """The bill; Refused when it comes to another total than was `shown`, since nobody issues what they did not read."""
    if shown not in (None, bill.gross):
        raise Refused(f"The draft changed meanwhile: it comes to {spoken(bill.gross)} with tax now. Look at it again.")
    return bill


def _turned_around(advance: Invoice, position: int) -> OperationCharges:
    lines = [line for operation in advance.operations.all() for line in operation.lines.all()]
    return OperationCharges(
        operation=None,
        position=position,
        title=f"Less advance invoice {advance.label} of {dates.day(advance.issued_on)}",
        concern="",
        cause="",
        decision="",
        counted=True,
        charges=tuple(charges.charge_on_paper(line, None).at(-line.quantity) for line in lines),
        advance=advance.pk,
    )


def _tax_off(row: InvoiceTax) -> TaxSum:
    classes = tuple(row.tax_classes.split())
    return TaxSum(
        row.of_tax_id, row.label, -row.base, row.rate, -row.tax, classes, row.treatment, row.reason, row.invoice_id
    )
