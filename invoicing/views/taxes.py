"""The taxes: everybody in the books may read them, the owner writes them."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from garage import dates
from garage.access import actor_of, allowed, may
from garage.models import TaxClass
from garage.web import after_post, attempt, refusal_said
from invoicing import access
from invoicing.actions.taxes import end_rate, rename_tax, set_rate, withdraw_rate
from invoicing.forms import EndRateForm, TaxNameForm, TaxRateForm
from invoicing.models import Tax, TaxRate

EDIT = ["GET", "HEAD", "POST"]


@dataclass
class RateShown:
    """Rates of one tax that were set alike, with all the classes they are on."""

    first: TaxRate
    classes: list[str] = field(default_factory=list)

    @property
    def applies_to(self) -> str:
        """The classes in words, in the order of the form."""
        return ", ".join(str(label) for _value, label in TaxClass.choices if label in self.classes)


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
    tax = attempt(form, lambda: set_rate(**form.values(), actor=actor_of(request), clock=timezone.now))
    if tax is None:
        return _page(request, form, status=422)
    since = dates.day(form.cleaned_data["valid_from"])
    messages.success(request, f"{tax} is set from {since}.")
    return after_post(request, reverse("invoicing:taxes"))


@allowed("shop")
@require_http_methods(EDIT)
def tax_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Let a tax end, on all or some of its classes."""
    tax = access.tax_for(request, pk)
    today = timezone.localdate()
    holding = [row for row in tax.rates.all() if _holds(row, today)]
    choices = [(row.tax_class, row.get_tax_class_display()) for row in holding]
    form = EndRateForm(request.POST or None, classes=choices, initial={"last_day": today})

    def act() -> Tax:
        return end_rate(tax=tax, **form.cleaned_data, actor=actor_of(request), clock=timezone.now)

    if request.method == "POST" and attempt(form, act):
        until = dates.day(form.cleaned_data["last_day"])
        messages.success(request, f"{tax} ends on {until}.")
        return after_post(request, reverse("invoicing:taxes"))
    status = 422 if request.method == "POST" else 200
    return render(request, "invoicing/tax_end.html", {"tax": tax, "form": form}, status=status)


@allowed("shop")
@require_http_methods(EDIT)
def tax_rename(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a tax another name on papers to come."""
    tax = access.tax_for(request, pk)
    form = TaxNameForm(request.POST or None, initial={"name": tax.name})

    def act() -> Tax:
        return rename_tax(tax=tax, **form.cleaned_data, actor=actor_of(request), clock=timezone.now)

    if request.method == "POST":
        renamed = attempt(form, act)
        if renamed is not None:
            messages.success(request, f"“{tax}” is called “{renamed}” on papers from now on.")
            return after_post(request, reverse("invoicing:taxes"))
    status = 422 if request.method == "POST" else 200
    return render(request, "invoicing/tax_rename.html", {"tax": tax, "form": form}, status=status)


@allowed("shop")
@require_POST
def rate_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a rate back that has not begun."""
    rate = access.rate_for(request, pk)
    with refusal_said(request):
        withdraw_rate(rate=rate, actor=actor_of(request), clock=timezone.now)
        messages.success(request, f"{rate} from {dates.day(rate.valid_from)} is withdrawn.")
    return after_post(request, reverse("invoicing:taxes"))


def _holds(row: TaxRate, on: dt.date) -> bool:
    return row.valid_from <= on and (row.valid_to is None or row.valid_to >= on)


def _together(rows: Iterable[TaxRate]) -> list[RateShown]:
    """One row for what was set alike on several classes."""
    shown: dict[tuple[object, ...], RateShown] = {}
    for row in rows:
        key = (row.tax_id, row.rate, row.treatment, row.reason, row.valid_from, row.valid_to)
        shown.setdefault(key, RateShown(row)).classes.append(row.get_tax_class_display())
    return list(shown.values())


def _page(request: HttpRequest, form: TaxRateForm, *, status: int = 200) -> HttpResponse:
    today = timezone.localdate()
    rates = list(TaxRate.objects.select_related("tax").order_by("tax__name", "-valid_from", "tax_class"))
    context: dict[str, Any] = {
        "now": _together(row for row in rates if _holds(row, today)),
        "to_come": _together(row for row in rates if row.valid_from > today),
        "ended": _together(row for row in rates if row.valid_to is not None and row.valid_to < today),
        "form": form if may(request.user, "shop") else None,
    }
    return render(request, "invoicing/taxes.html", context, status=status)
