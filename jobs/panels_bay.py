"""What a vehicle's page shows of its condition: what is due, what was noticed, what its fluids looked like."""

from typing import cast

from django.db import models
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils import timezone

from garage.models import Vehicle
from jobs.models import DueService, FluidSample
from jobs.queries import open_advisories
from jobs.queries_due import due_rows, recommended


def condition(request: HttpRequest, subject: models.Model) -> str:
    """Services due, open advisories and the last sample of each component; nothing when there is none of it."""
    vehicle = cast(Vehicle, subject)
    latest: dict[int, FluidSample] = {}
    for sample in FluidSample.objects.filter(vehicle__in=vehicle.same()).select_related("component"):
        latest.setdefault(sample.component_id, sample)
    today = timezone.localdate()
    context = {
        "due": due_rows(DueService.objects.filter(vehicle__in=vehicle.same()), today),
        "advisories": recommended(open_advisories(vehicle), today),
        "samples": list(latest.values()),
    }
    return render_to_string("jobs/condition_panel.html", context, request)
