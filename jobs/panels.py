"""What the pages of a customer and a vehicle show of the jobs."""

from typing import cast

from django.db import models
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.urls import reverse

from garage.access import actor_of, may
from garage.cuts import first_of
from garage.models import Customer, Vehicle
from jobs import queries

SHOWN = 10


def visits(request: HttpRequest, subject: models.Model) -> str:
    """The visits of a customer or a vehicle, newest first; a technician is led to the bay's pages."""
    if isinstance(subject, Customer) and subject.walk_in:
        return ""  # its invoices say all there is to say
    at_counter = may(request.user, "counter")
    of_customer = isinstance(subject, Customer)
    found = first_of(queries.jobs_of(cast("Customer | Vehicle", subject)), SHOWN)
    context = {
        "visits": found.with_rows(queries.visits(found, actor_of(request))),
        "of_customer": of_customer,
        "all_visits": reverse("jobs:customer-visits" if of_customer else "jobs:vehicle-visits", args=[subject.pk]),
        "at_counter": at_counter,
    }
    return render_to_string("jobs/visits_panel.html", context, request)
