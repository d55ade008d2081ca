"""Every visit of a customer or a vehicle, page by page."""

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_safe

from garage import gates
from garage.access import actor_of, allowed, may
from garage.models import Customer, Vehicle
from garage.web import page_of, render_page
from jobs import queries


@allowed("counter")
@require_safe
def of_customer(request: HttpRequest, pk: int) -> HttpResponse:
    """The visits of a customer, newest first."""
    return _visits(request, gates.customer_for(request, pk), reverse("customer", args=[pk]))


@allowed("bay")
@require_safe
def of_vehicle(request: HttpRequest, pk: int) -> HttpResponse:
    """The visits of a vehicle, newest first."""
    return _visits(request, gates.vehicle_for(request, pk), reverse("vehicle", args=[pk]))


def _visits(request: HttpRequest, subject: Customer | Vehicle, back: str) -> HttpResponse:
    page = page_of(queries.jobs_of(subject), request)
    context = {
        "subject": subject,
        "page": page,
        "visits": queries.visits(page.rows, actor_of(request)),
        "of_customer": isinstance(subject, Customer),
        "at_counter": may(request.user, "counter"),
        "back": back,
    }
    return render_page(request, "jobs/visits.html", context)
