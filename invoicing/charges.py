"""A job's work with its prices: as written on the sheet, as done, and as offered before."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal

from garage import dates
from garage.errors import Refused
from garage.models import Customer, TaxClass
from invoicing import consents, queries
from invoicing.comparing import same_offer
from invoicing.models import Estimate, EstimateOperation
from invoicing.models.papers import PaperLine
from invoicing.sums import Charge, ClassRate, NoRate, OperationCharges, Sums, TaxSum, choose, counted, sum_up
from invoicing.totals import line_net
from jobs.consent import AUTHORIZED, DECLINED, Consent
from jobs.consents import consent_of, work_of
from jobs.models import Job, JobStep, Line, Operation
from jobs.offers import beyond


def charge_of(line: Line) -> Charge:
    """A line of the sheet with its price."""
    return replace(_charge(line, line.pk, line_net(line.quantity, line.unit_price, line.discount)), under=line.under_id)


def charge_on_paper(line: PaperLine, origin: int | None) -> Charge:
    """A frozen line with the price it was frozen at; `origin` is the sheet's line."""
    return replace(_charge(line, origin, line.net), fitted=line.fitted)


def _charge(line: Line | PaperLine, origin: int | None, net: Decimal) -> Charge:
    return Charge(
        line=origin,
        kind=line.kind,
        finer=line.finer,
        description=line.description,
        condition=line.condition,
        quantity=line.quantity,
        unit=line.unit,
        base_quantity=line.base_quantity,
        typed=line.typed,
        unit_price=line.unit_price,
        discount=line.discount,
        tax_class=line.tax_class,
        sublet_to=line.sublet_to,
        item_id=line.item_id,
        if_needed=line.if_needed,
        net=net,
    )


def operation_charges(job: Job, consent: Consent | None = None) -> list[OperationCharges]:
    """The work on the sheet that was not declined, priced as written; of alternatives one is counted.

    `job` comes from `jobs.queries.sheets`; `consent` spares reading it again.
    """
    consent = consent or consent_of(job, job.operations.all())
    rows = [operation for operation in job.operations.all() if consent.of(operation.pk).state != DECLINED]
    return choose(
        [
            OperationCharges(
                operation=row.pk,
                position=position,
                title=row.title,
                concern=row.concern,
                cause=row.cause,
                decision=consent.of(row.pk).state,
                counted=True,
                charges=tuple(charge_of(line) for line in row.lines.all()),
                alternative_to=row.alternative_to_id,
                correction=row.correction,
            )
            for position, row in enumerate(rows, start=1)
        ]
    )


def done(job: Job) -> list[Operation]:
    """The authorized operations whose work was done: without steps, or with at least one done and none open."""
    authorized = consent_of(job, job.operations.all()).all_in(AUTHORIZED)
    return [row for row in job.operations.all() if row.pk in authorized and work_state(row) == "done"]


def work_state(operation: Operation) -> str:
    """How far the work on an operation is: "open", "done", "left" (every step was skipped) or "ended" as not done."""
    if operation.not_done_id is not None:
        return "ended"
    states = [step.state for step in operation.steps.all()]
    if JobStep.State.OPEN in states:
        return "open"
    return "left" if states and JobStep.State.DONE not in states else "done"


def as_offered(estimate: Estimate) -> list[OperationCharges]:
    """What an estimate offered, read back from its frozen rows."""
    return [offered_on(row) for row in estimate.operations.all()]


def offered_on(row: EstimateOperation) -> OperationCharges:
    """One operation as an estimate offered it, alternatives marked as not counted."""
    return OperationCharges(
        operation=row.operation_id,
        position=row.position,
        title=row.title,
        concern=row.concern,
        cause=row.cause,
        decision="",
        counted=row.counted,
        charges=tuple(charge_on_paper(line, line.line_id) for line in row.lines.all()),
    )


def agreed(consent: Consent) -> dict[int | None, OperationCharges]:
    """The authorized work as its yes was given, by operation: read back from the estimates' frozen rows."""
    keys = [row.yes.row for row in consent.authorized if row.yes is not None]
    rows = EstimateOperation.objects.filter(pk__in=keys).prefetch_related("lines").order_by("position")
    return {row.operation_id: offered_on(row) for row in rows}


def consent_on(job: Job, on: dt.date) -> Consent:
    """What the customer's words allow on a day, their exemption from tax included.

    `job` comes from `jobs.queries.sheets`.
    """
    return consent_of(job, job.operations.all(), exempt=job.customer.exempt_on(on))


def overtaken(estimate: Estimate, job: Job, consent: Consent, on: dt.date) -> bool:
    """Whether the customer has to be asked about something that the estimate does not show.

    That is undecided work which stands otherwise on the sheet, and what goes beyond a yes and beyond this estimate
    too. A change downward of what is authorized asks nothing.
    """
    shown = {row.operation: row for row in as_offered(estimate)}
    offers = {row.operation_id: consents.offer_of(row, estimate) for row in estimate.operations.all()}
    sheet = {row.operation: row for row in operation_charges(job, consent)}
    exempt = job.customer.exempt_on(on)
    for row in job.operations.all():
        if row.pk not in consent.asks:
            continue
        if row.pk not in shown:
            return True
        if consent.of(row.pk).state == AUTHORIZED:
            if beyond(offers[row.pk], work_of(row, exempt)):
                return True
        elif not same_offer([shown[row.pk]], [sheet[row.pk]]):
            return True
    return False


def sums_of(charges: Iterable[Charge], customer: Customer, rates: list[ClassRate], on: dt.date) -> Sums:
    """Add charges up for a customer; Refused when a tax class has no rate that day."""
    try:
        return sum_up(charges, rates, exempt=customer.exempt_on(on))
    except NoRate as error:
        name = TaxClass(error.tax_class).label
        raise Refused(
            f"No tax rate is set for {name} on {dates.day(on)}. The owner sets it under Books, Taxes; "
            "what is not taxed is said there too."
        ) from error


def sealed_rates(estimate: Estimate) -> list[ClassRate]:
    """Every rate of the day an estimate was written, as it was sealed with it."""
    return [ClassRate(**{**row, "rate": Decimal(row["rate"])}) for row in estimate.rates]


def sealed_taxes(estimate: Estimate) -> list[TaxSum]:
    """The tax rows of an estimate as it printed them."""
    figures = ("base", "rate", "tax")
    return [
        TaxSum(**{**row, "classes": tuple(row["classes"]), **{name: Decimal(row[name]) for name in figures}})
        for row in estimate.taxes
    ]


def sums_at(estimate: Estimate, charges: Iterable[Charge]) -> Sums:
    """What any charges come to at the rates, and with the exemption, that are sealed on an estimate.

    It is what the customer heard, whatever the tax table says today. Raises Refused for a class that had no rate then.
    """
    try:
        return sum_up(charges, sealed_rates(estimate), exempt=bool(estimate.exemption))
    except NoRate as error:
        raise Refused(
            f"Estimate {estimate.label} was written before {TaxClass(error.tax_class).label} had a tax rate: "
            "write a revised estimate."
        ) from error


def job_totals(job: Job, on: dt.date) -> Sums:
    """What the sheet as written comes to on a day, declined work left out; Refused without a tax rate."""
    return sums_of(counted(operation_charges(job)), job.customer, queries.rates_on(on), on)
