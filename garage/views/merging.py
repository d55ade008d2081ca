"""One customer or car that was written down twice: find the other, see what will happen, merge; or part them again."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from garage import gates, search
from garage.access import actor_of, allowed
from garage.actions import merging
from garage.models import Customer, Vehicle
from garage.models.merging import Mergeable
from garage.web import after_post, asked, attempt, refusal_said, render_page

WRITE = ["GET", "HEAD", "POST"]
FOUND_SHOWN = 20


@allowed("counter")
@require_http_methods(WRITE)
def customer_merge(request: HttpRequest, pk: int) -> HttpResponse:
    """Close a customer who is in the book twice, and let the row point to the other one."""
    row, into = gates.customer_for(request, pk), gates.customer_named(request, "into")
    return _merge(
        request, "customer", row, into, lambda to: merging.merge_customer(customer=row, into=to, **_by(request))
    )


@allowed("counter")
@require_http_methods(WRITE)
def vehicle_merge(request: HttpRequest, pk: int) -> HttpResponse:
    """The same for a car."""
    row, into = gates.vehicle_for(request, pk), gates.vehicle_named(request, "into")
    return _merge(request, "vehicle", row, into, lambda to: merging.merge_vehicle(vehicle=row, into=to, **_by(request)))


@allowed("counter")
@require_POST
def customer_part(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a merge back."""
    row = gates.customer_for(request, pk)
    return _part(request, "customer", row, lambda: merging.part_customer(customer=row, **_by(request)))


@allowed("counter")
@require_POST
def vehicle_part(request: HttpRequest, pk: int) -> HttpResponse:
    """The same for a car."""
    row = gates.vehicle_for(request, pk)
    return _part(request, "vehicle", row, lambda: merging.part_vehicle(vehicle=row, **_by(request)))


def _by(request: HttpRequest) -> dict[str, Any]:
    return {"actor": actor_of(request), "clock": timezone.now}


def _merge(
    request: HttpRequest, kind: str, row: Mergeable, into: Any, act: Callable[[Any], Customer | Vehicle]
) -> HttpResponse:
    posted = request.method == "POST" and into is not None
    form, text = forms.Form(request.POST if posted else None), asked(request)
    if posted:
        end = attempt(form, lambda: act(into))
        if end is not None:
            messages.success(request, f"{row} is merged into {end}.")
            return after_post(request, reverse(kind, args=[end.pk]))
    found = search.find(text, kinds=[kind], limit=FOUND_SHOWN)
    context = {
        "row": row,
        "small": row.plate if isinstance(row, Vehicle) else "",
        "into": into,
        "kind": kind,
        "here": reverse(f"{kind}-merge", args=[row.pk]),
        "back": reverse(kind, args=[row.pk]),
        "form": form,
        "text": text,
        "found": found.with_rows(one for one in found if one.object_id != row.pk),
    }
    partial = "" if posted else "found"
    return render_page(request, "garage/merge.html", context, partial=partial, status=422 if posted else 200)


def _part(request: HttpRequest, kind: str, row: Mergeable, act: Callable[[], Customer | Vehicle]) -> HttpResponse:
    with refusal_said(request):
        act()
        messages.success(request, f"{row} is separate again.")
    return after_post(request, reverse(kind, args=[row.pk]))
