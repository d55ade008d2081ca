"""Recording what the customer decided."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from garage.access import actor_of, allowed
from garage.web import after_post, attempt
from invoicing import queries
from invoicing.actions.authorizations import allowed_after, sums_with_tax
from invoicing.actions.authorizations import authorize as record
from invoicing.forms import AuthorizeForm
from invoicing.models import Authorization
from invoicing.standing import RECORD, standing_of
from jobs import access as jobs_access
from jobs.models import Operation


@allowed("counter")
@require_http_methods(["GET", "HEAD", "POST"])
def authorize(request: HttpRequest, pk: int) -> HttpResponse:
    """The customer's decision on the estimate that counts."""
    job = jobs_access.sheet_for(request, pk)
    estimate = queries.latest_estimate(job)
    if estimate is None:
        messages.warning(request, "Write the estimate first: the customer decides on a price.")
        return after_post(request, reverse("jobs:sheet", args=[job.pk]))
    undecided = {row.pk for row in job.operations.all() if row.decision == Operation.Decision.UNDECIDED}
    wanted = {key: ("authorized", "") for row in estimate.operations.all() if row.counted
              for key in [row.operation_id] if key in undecided}  # fmt: skip
    sums = sums_with_tax(estimate, allowed_after(estimate, job, wanted))
    form = AuthorizeForm(request.POST or None, estimate=estimate, job=job, suggested=sums.net)

    def act() -> Authorization:
        return record(estimate=estimate, **form.values(), actor=actor_of(request), clock=timezone.now)

    if request.method == "POST" and attempt(form, act):
        messages.success(request, f"Recorded what {job.customer} decided.")
        return after_post(request, reverse("jobs:sheet", args=[job.pk]))
    context = {
        "job": job,
        "estimate": estimate,
        "form": form,
        "sums": sums,
        "earlier": queries.last_authorization(job),
        "may_record": standing_of(job, timezone.localdate()).next_act == RECORD,
    }
    return render(request, "invoicing/authorize.html", context, status=422 if request.method == "POST" else 200)
