"""What the pages of a job, a customer and a vehicle show of the books; nothing for those who see no prices."""

from collections.abc import Sequence
from typing import Any, cast

from django.db import models
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from garage import panels
from garage.access import actor_of, may
from garage.cuts import first_of
from garage.errors import Refused
from garage.models import Customer, Document, Vehicle
from invoicing import accounts, charges, closing, comparing, leaving, queries
from invoicing.models import Invoice
from invoicing.next_act import money_act
from invoicing.standing import MAKE, standing_of
from invoicing.sums import Sums
from jobs import skipped, stages
from jobs.consent import AUTHORIZED
from jobs.models import Job

SHOWN = 10


def register() -> None:
    """Offer the panels to the pages of the apps below."""
    panels.register("job-foot", job_foot)
    panels.register("job-margin", job_margin)
    panels.register("job-cancel", job_cancel)
    panels.register("customer", papers_of)
    panels.register("vehicle", papers_of)


def job_foot(request: HttpRequest, subject: models.Model) -> str:
    """The sums of a job's sheet, its total, and the one next act."""
    job = cast(Job, subject)
    ending = job.stage in (stages.FINISHED, stages.CLOSED)  # even with nothing on it a job comes to its end
    if not may(request.user, "prices") or not (ending or job.operations.all()):
        return ""
    standing = standing_of(job, timezone.localdate())
    context: dict[str, Any] = {"job": job, "standing": standing, "may_act": may(request.user, "counter")}
    try:
        billed = standing.invoice
        context["reopens"] = billed is None and closing.may_reopen(job)
        context["closes"] = standing.next_act == MAKE and not standing.consent.all_in(AUTHORIZED)
        context["left_out"] = leaving.remaining(job) if job.stage in stages.BILLED else ()
        context["sums"] = sums_billed(billed) if billed else charges.job_totals(job, timezone.localdate())
    except Refused as error:
        context["net"], context["problem"] = comparing.net_of(charges.operation_charges(job)), str(error)
    # In the bay and before it the job's own act comes first: the papers' act stands quietly beside it.
    context["quiet"] = job.stage in (stages.READY, stages.IN_BAY)
    return render_to_string("invoicing/job_foot.html", context, request)


def sums_billed(invoice: Invoice) -> Sums:
    """What was billed, which is what was done and drawn, not what the sheet says."""
    net = invoice.labor_net, invoice.parts_net, invoice.other_net, invoice.net
    return Sums(*net, taxes=(), tax=invoice.tax, gross=invoice.gross)


def job_margin(request: HttpRequest, subject: models.Model) -> str:
    """What was authorized by whom and when, the estimates, the invoices, and what keeps them from going on."""
    job = cast(Job, subject)
    if not may(request.user, "prices"):
        return ""
    estimates = list(job.estimates.all())
    invoices = list(queries.invoices_of_job(job))
    today = timezone.localdate()
    exempt = job.customer.exempt_on(today)
    context = {
        "job": job,
        "records": queries.authorizations(job),
        "estimates": _with_papers("estimate", estimates),
        "invoices": _with_papers("invoice", invoices),
        "standing": standing_of(job, today),
        "left_out": leaving.remaining(job) if invoices else (),
        "answers": [part for part in skipped.asked(job.operations.all()).values() if part.answer],
        "billed": job.stage in stages.BILLED,
        "deposit": accounts.deposit_of(job),
        "advances": accounts.standing_advances(job),
        "takes_deposit": job.stage in stages.OPEN and may(request.user, "invoicing"),
        "may_move": may(request.user, "invoicing"),
        "customer_exempt": exempt,
        "certificate_over": job.customer.tax_exempt and not exempt,
    }
    return render_to_string("invoicing/job_margin.html", context, request)


def job_cancel(request: HttpRequest, subject: models.Model) -> str:
    """On the page that cancels a job: its deposit, and what can become of it."""
    job = cast(Job, subject)
    deposit, advances = accounts.deposit_of(job), accounts.standing_advances(job)
    context = {"job": job, "deposit": deposit, "advances": advances}
    return render_to_string("invoicing/job_cancel_panel.html", context, request) if deposit or advances else ""


def _with_papers(kind: str, rows: Sequence[models.Model]) -> list[tuple[models.Model, Document | None]]:
    """Each paper with its PDF, in one query."""
    found = {row.source: row for row in Document.objects.filter(kind=kind, source__in=[row.pk for row in rows])}
    return [(row, found.get(row.pk)) for row in rows]


def papers_of(request: HttpRequest, subject: models.Model) -> str:
    """What a customer owes and their invoices; of a vehicle its invoices."""
    if not may(request.user, "books"):
        return ""
    row = cast("Customer | Vehicle", subject)
    of_customer, user = isinstance(row, Customer), actor_of(request)
    invoices = first_of(queries.invoices_of(row), SHOWN)
    context = {
        "invoices": invoices.with_rows((one, money_act(getattr(one, "receivable", None), user)) for one in invoices),
        "all_invoices": f"{reverse('invoicing:invoices')}?{'customer' if of_customer else 'vehicle'}={row.pk}",
        **(accounts.standing_of(row) if isinstance(row, Customer) else {}),
        "customer": row,
        "may_act": may(request.user, "invoicing"),
        "of_customer": of_customer,
    }
    return render_to_string("invoicing/papers_panel.html", context, request)
