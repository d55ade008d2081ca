"""Recording what the customer decided."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from garage.access import actor_of, allowed
from garage.errors import Refused
from garage.web import after_post, attempt, key_in
from invoicing import queries
from invoicing.actions.authorizations import after, replaced, sums_authorized
from invoicing.actions.authorizations import authorize as record
from invoicing.forms import AuthorizeForm
from invoicing.models import Authorization, Estimate
from invoicing.standing import Standing, standing_of
from jobs import access as jobs_access
from jobs.consent import AUTHORIZED
from jobs.models import Job


@allowed("counter")
@require_http_methods(["GET", "HEAD", "POST"])
def authorize(request: HttpRequest, pk: int) -> HttpResponse:
    """The customer's decision on the estimate that counts: the one that the form was opened for, and no other."""
    job = jobs_access.sheet_for(request, pk)
    standing = standing_of(job, timezone.localdate())
    if standing.estimate is None:
        messages.warning(request, "Write the estimate first: the customer decides on a price.")
        return after_post(request, reverse("jobs:sheet", args=[job.pk]))
    named = _named(request, job) or standing.estimate
    form = AuthorizeForm(request.POST or None, estimate=named, job=job, consent=standing.consent)

    def act() -> Authorization:
        return record(estimate=named, **form.values(), actor=actor_of(request), clock=timezone.now)

    if request.method == "POST" and attempt(form, act):
        messages.success(request, f"Recorded what {job.customer} decided.")
        return after_post(request, reverse("jobs:sheet", args=[job.pk]))
    stale = ""
    if named.pk != standing.estimate.pk:
        stale, known = str(replaced(named, standing.estimate)), form.who_and_how()
        form = AuthorizeForm(None, estimate=standing.estimate, job=job, consent=standing.consent, initial=known)
    try:
        context = _context(job, standing, standing.estimate, form)
    except Refused as error:  # a rate was ended since the estimate was written
        messages.warning(request, str(error))
        return after_post(request, reverse("jobs:sheet", args=[job.pk]))
    status = 422 if request.method == "POST" else 200
    return render(request, "invoicing/authorize.html", {**context, "stale": stale}, status=status)


def _named(request: HttpRequest, job: Job) -> Estimate | None:
    """The estimate that the form was opened for."""
    key = key_in(request.POST.get("estimate_key", ""))
    return queries.estimates().filter(pk=key, job=job).first() if key is not None else None


def _context(job: Job, standing: Standing, estimate: Estimate, form: AuthorizeForm) -> dict[str, Any]:
    wanted = {
        row.operation_id: (AUTHORIZED, "")
        for row in estimate.operations.all()
        if row.operation_id in standing.consent.asks and row.counted
    }
    decidable = any(decision is not None for *_, decision, _reason in form.rows())
    return {
        "job": job,
        "estimate": estimate,
        "form": form,
        "sums": sums_authorized(estimate, job, after(estimate, job, wanted)),
        "earlier": queries.last_authorization(job),
        "may_record": decidable and (standing.may_withdraw or not (standing.overtaken or standing.expired)),
    }
