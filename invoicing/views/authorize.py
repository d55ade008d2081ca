"""Recording what the customer decided, with the amounts to read out as the marks are set."""

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from garage.access import actor_of, allowed
from garage.errors import Refused
from garage.web import after_post, attempt, key_in, piece_of
from invoicing import queries, reading_out
from invoicing.actions.authorizations import ANSWERED_SINCE, one_of_alternatives, replaced
from invoicing.actions.authorizations import authorize as record
from invoicing.forms import AuthorizeForm
from invoicing.models import Authorization, Estimate
from invoicing.papers import tax_text
from invoicing.reading_out import Shown, asking_of
from invoicing.standing import Standing, standing_of
from jobs import access as jobs_access
from jobs.consent import AUTHORIZED, DECLINED, WITHDRAWN, Consent
from jobs.models import Job
from jobs.showing import if_needed

#: The name of the button that only works the amounts out, for a browser without JavaScript.
ONLY_AMOUNTS = "amounts"


@allowed("counter")
@require_http_methods(["GET", "HEAD", "POST"])
def authorize(request: HttpRequest, pk: int) -> HttpResponse:
    """The customer's decision on the estimate that counts: the one that the form was opened for, and no other."""
    job = jobs_access.sheet_for(request, pk)
    standing = standing_of(job, timezone.localdate())
    if standing.estimate is None:
        messages.warning(request, "Write the estimate first: the customer decides on a price.")
        return after_post(request, reverse("jobs:sheet", args=[job.pk]))
    named = _named(request.POST, job) or standing.estimate
    form = AuthorizeForm(request.POST or None, estimate=named, job=job, consent=standing.consent)

    def act() -> Authorization:
        return record(estimate=named, **form.values(), actor=actor_of(request), clock=timezone.now)

    if ONLY_AMOUNTS not in request.POST and request.method == "POST" and attempt(form, act):
        messages.success(request, "Authorization saved.")
        return after_post(request, reverse("jobs:sheet", args=[job.pk]))
    stale = _outdated(request.POST, standing, named)
    if stale or ONLY_AMOUNTS in request.POST:
        typed = form.who_and_how() if stale else form.typed()
        form = AuthorizeForm(None, estimate=standing.estimate, job=job, consent=standing.consent, initial=typed)
    marks = _marks({} if stale else request.POST, standing.estimate)
    try:
        context = _context(job, standing, standing.estimate, form, marks)
    except Refused as error:  # a rate was ended since the estimate was written
        messages.warning(request, str(error))
        return after_post(request, reverse("jobs:sheet", args=[job.pk]))
    refused = request.method == "POST" and ONLY_AMOUNTS not in request.POST
    return render(
        request, "invoicing/authorize.html", {**context, "stale": stale}, status=422 if refused or stale else 200
    )


@allowed("counter")
@require_safe
@piece_of("invoicing:authorize", "pk")
def authorize_amounts(request: HttpRequest, pk: int) -> HttpResponse:
    """The amounts to read out for the marks that are set, beside each operation and in all."""
    job = jobs_access.sheet_for(request, pk)
    standing = standing_of(job, timezone.localdate())
    estimate = standing.estimate
    stale = _outdated(request.GET, standing, _named(request.GET, job) or estimate)
    if estimate is None or stale:
        return render(request, "invoicing/read_out.html", {"problem": stale})
    try:
        shown = reading_out.shown(asking_of(estimate, job, standing.consent), _marks(request.GET, estimate))
    except Refused as error:
        return render(request, "invoicing/read_out.html", {"problem": str(error)})
    return render(request, "invoicing/read_out.html", {**_amounts(job, estimate, shown), "live": True})


def _named(data: Mapping[str, Any], job: Job) -> Estimate | None:
    """The estimate that the form was opened for."""
    key = key_in(data.get("estimate_key", ""))
    return queries.estimates().filter(pk=key, job=job).first() if key is not None else None


def _outdated(data: Mapping[str, Any], standing: Standing, named: Estimate | None) -> str:
    """Why a form must be looked at again: another revision was written since, or another decision recorded."""
    if standing.estimate is not None and named is not None and named.pk != standing.estimate.pk:
        return str(replaced(named, standing.estimate))
    seen = key_in(data.get("after_record", ""))
    return ANSWERED_SINCE if seen not in (None, standing.consent.seq) else ""


def _marks(data: Mapping[str, Any], estimate: Estimate) -> dict[int, tuple[str, str]]:
    """What is marked on each operation so far; what is left open is not."""
    keys = [row.operation_id for row in estimate.operations.all() if row.operation_id is not None]
    said = {key: data.get(f"decision_{key}", "") for key in keys}
    return {key: (mark, "") for key, mark in said.items() if mark in (AUTHORIZED, DECLINED, WITHDRAWN)}


def _context(
    job: Job, standing: Standing, estimate: Estimate, form: AuthorizeForm, marks: dict[int, tuple[str, str]]
) -> dict[str, Any]:
    shown = reading_out.shown(asking_of(estimate, job, standing.consent), marks)
    rows = [(shown.rows.get(row.operation_id or 0), row, *more) for row, *more in form.rows()]
    decidable = any(decision is not None for *_, decision, _reason in form.rows())
    return {
        "job": job,
        "form": form,
        "rows": rows,
        "may_record": decidable and (standing.may_withdraw or not (standing.overtaken or standing.expired)),
        **_amounts(job, estimate, shown),
    }


def _amounts(job: Job, estimate: Estimate, shown: Shown) -> dict[str, Any]:
    """What the page and its piece say of the amounts."""
    return {
        "estimate": estimate,
        "shown": shown,
        "amounts": shown.rows.values(),
        "sums": shown.heard.sums,
        "taxes": [tax_text(row) for row in shown.heard.sums.taxes],
        "needs": [f"{row.description}, {if_needed(row.quantity, row.unit, row.net)}" for row in shown.heard.needs],
        "earlier": queries.last_authorization(job),
        "problem": _conflict(job, shown.heard.consent),
    }


def _conflict(job: Job, consent: Consent) -> str:
    """Two alternatives that are both marked, as a sentence."""
    try:
        one_of_alternatives(job, consent)
    except Refused as error:
        return str(error)
    return ""
