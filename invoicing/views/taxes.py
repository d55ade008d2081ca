"""The tax rates: everybody in the books may read them, the owner writes them."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from garage import shop
from garage.access import actor_of, allowed, may
from garage.web import after_post, attempt
from invoicing import access
from invoicing.actions.taxes import end_rate, set_rate
from invoicing.forms import EndRateForm, TaxRateForm
from invoicing.models import TaxRate


@allowed("books")
@require_safe
def taxes(request: HttpRequest) -> HttpResponse:
    """The rates in force, those to come and those that ended."""
    return _page(request, TaxRateForm(initial={"valid_from": timezone.localdate()}))


@allowed("shop")
@require_POST
def tax_add(request: HttpRequest) -> HttpResponse:
    """Set a rate from a day on."""
    form = TaxRateForm(request.POST)
    rate = attempt(form, lambda: set_rate(**form.values(), actor=actor_of(request), clock=timezone.now))
    if rate is None:
        return _page(request, form, status=422)
    messages.success(request, f"{rate} on {rate.get_tax_class_display()} from {shop.day_words(rate.valid_from)}.")
    return after_post(request, reverse("invoicing:taxes"))


@allowed("shop")
@require_http_methods(["GET", "HEAD", "POST"])
def tax_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Let a rate end."""
    rate = access.rate_for(request, pk)
    form = EndRateForm(request.POST or None, initial={"last_day": timezone.localdate()})
    if request.method == "POST" and attempt(
        form, lambda: end_rate(rate=rate, **form.cleaned_data, actor=actor_of(request), clock=timezone.now)
    ):
        return after_post(request, reverse("invoicing:taxes"))
    status = 422 if request.method == "POST" else 200
    return render(request, "invoicing/tax_end.html", {"rate": rate, "form": form}, status=status)


def _page(request: HttpRequest, form: TaxRateForm, *, status: int = 200) -> HttpResponse:
    today = timezone.localdate()
    rates = list(TaxRate.objects.order_by("tax_class", "label", "-valid_from"))
    context: dict[str, Any] = {
        "now": [row for row in rates if row.valid_from <= today and (row.valid_to is None or row.valid_to >= today)],
        "to_come": [row for row in rates if row.valid_from > today],
        "ended": [row for row in rates if row.valid_to is not None and row.valid_to < today],
        "form": form if may(request.user, "shop") else None,
    }
    return render(request, "invoicing/taxes.html", context, status=status)
