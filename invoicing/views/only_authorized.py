"""Bringing a draft down to what was authorized, and taking that back."""

from decimal import Decimal

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from garage import shop
from garage.access import actor_of, allowed
from garage.errors import Refused
from garage.templatetags.figures import cash
from garage.web import after_post, refusal_said
from invoicing.actions.only_authorized import bill_only_authorized, charge_it_again
from invoicing.forms_draft import OnlyAuthorizedForm
from jobs import access as jobs_access


@allowed("invoicing")
@require_POST
def only_authorized(request: HttpRequest, pk: int) -> HttpResponse:
    """Take off the bill what nobody authorized: the draft is next."""
    job, form = jobs_access.job_for(request, pk), OnlyAuthorizedForm(request.POST)
    with refusal_said(request):
        if not form.is_valid():
            raise Refused("This page expired: look at the draft again.")
        done = bill_only_authorized(job=job, **form.cleaned_data, actor=actor_of(request), clock=timezone.now)
        off = cash(Decimal(done.details["amount"]), shop.profile().currency)
        messages.success(request, f"{off} is not charged: only what was authorized is billed.")
    return after_post(request, reverse("invoicing:invoice-make", args=[pk]))


@allowed("invoicing")
@require_POST
def undo_write_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Charge again what was taken off: the draft is next."""
    job = jobs_access.job_for(request, pk)
    with refusal_said(request):
        back = charge_it_again(job=job, actor=actor_of(request), clock=timezone.now)
        messages.success(request, f"{cash(back, shop.profile().currency)} is on the bill again.")
    return after_post(request, reverse("invoicing:invoice-make", args=[pk]))
