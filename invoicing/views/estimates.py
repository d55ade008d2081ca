"""The pages of an estimate: write it, read it, mail it."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from garage import documents
from garage.access import actor_of, allowed, may
from garage.errors import Refused
from garage.web import after_post, attempt
from invoicing import access, accounts, consents, queries
from invoicing.actions.estimates import mail_estimate, revise_to_used, write_estimate
from invoicing.forms import MailForm, first_email
from invoicing.models import Estimate
from invoicing.papers import draft_version
from invoicing.showing import against_consent, from_paper
from invoicing.standing import standing_of
from jobs import access as jobs_access
from jobs import stages


@allowed("counter")
@require_POST
def estimate_write(request: HttpRequest, pk: int) -> HttpResponse:
    """Freeze the sheet as the next revision."""
    return _written(request, pk, write_estimate)


@allowed("counter")
@require_POST
def estimate_revise(request: HttpRequest, pk: int) -> HttpResponse:
    """Bring the lines up to what was drawn, and write the revision that the customer is asked about."""
    return _written(request, pk, revise_to_used)


def _written(request: HttpRequest, pk: int, verb: Any) -> HttpResponse:
    job = jobs_access.job_for(request, pk)
    try:
        estimate = verb(job=job, actor=actor_of(request), clock=timezone.now)
    except Refused as error:
        messages.warning(request, str(error))
        return after_post(request, reverse("jobs:sheet", args=[job.pk]))
    return after_post(request, reverse("invoicing:estimate", args=[estimate.pk]))


@allowed("counter")
@require_POST
def estimate_draft(request: HttpRequest, pk: int) -> HttpResponse:
    """Print the sheet as it stands, marked as a draft."""
    job = jobs_access.sheet_for(request, pk)
    version = draft_version(job)
    paper = documents.want("estimate-draft", job.pk, name=f"Draft of {job}.pdf", clock=timezone.now, version=version)
    return after_post(request, reverse("document", args=[paper.pk]))


@allowed("prices")
@require_GET
def estimate(request: HttpRequest, pk: int) -> HttpResponse:
    """One revision: what was offered, and what is next."""
    row = access.estimate_for(request, pk)
    return _page(request, row, MailForm(initial={"to": first_email(row.job)}))


@allowed("counter")
@require_http_methods(["POST"])
def estimate_mail(request: HttpRequest, pk: int) -> HttpResponse:
    """Mail the estimate with its PDF."""
    row = access.estimate_for(request, pk)
    form = MailForm(request.POST)
    actor = actor_of(request)
    mail = attempt(
        form, lambda: mail_estimate(estimate=row, to=form.cleaned_data["to"], actor=actor, clock=timezone.now)
    )
    if mail is None:
        return _page(request, row, form, status=422)
    messages.success(request, f"The estimate goes to {mail.to}: {mail.get_state_display()}.")
    return after_post(request, reverse("invoicing:estimate", args=[row.pk]))


def _page(request: HttpRequest, row: Estimate, form: MailForm, *, status: int = 200) -> HttpResponse:
    job = jobs_access.sheet_for(request, row.job_id)
    standing = standing_of(job, timezone.localdate())
    latest = standing.estimate is not None and standing.estimate.pk == row.pk
    consent = standing.consent if latest else consents.as_written(row)
    context = {
        "estimate": row,
        "operations": from_paper(list(row.operations.all()), against_consent(row, consent)),
        "standing": standing,
        "is_latest": latest,
        "revisions": job.estimates.all(),
        "paper": queries.paper_of("estimate", row.pk),
        "mails": queries.mails_of("estimate", row.pk),
        "deposit": accounts.deposit_of(job),
        "advances": accounts.standing_advances(job),
        "takes_deposit": job.stage in stages.OPEN and may(request.user, "invoicing"),
        "may_move": may(request.user, "invoicing"),
        "authorizations": queries.authorizations(job).filter(estimate=row),
        "form": form if may(request.user, "counter") else None,
    }
    return render(request, "invoicing/estimate.html", context, status=status)
