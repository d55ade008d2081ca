"""A mistyped odometer reading: the right figure in its place."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from garage.access import actor_of, allowed
from garage.web import after_post, attempt, render_page
from jobs import access
from jobs.actions.readings import correct_reading
from jobs.forms import CorrectReadingForm


@allowed("bay")
@require_http_methods(["GET", "HEAD", "POST"])
def reading_correct(request: HttpRequest, pk: int) -> HttpResponse:
    """Say what the odometer really showed that day."""
    row = access.reading_for(request, pk)
    posted = request.method == "POST"
    form = CorrectReadingForm(request.POST if posted else None)
    if posted and attempt(
        form,
        lambda: correct_reading(
            reading=row, right=form.cleaned_data["reading"], actor=actor_of(request), clock=timezone.now
        ),
    ):
        messages.success(request, "The reading is corrected. Visits and services due follow it.")
        return after_post(request, reverse("odometer-add", args=[row.vehicle_id]))
    context = {"reading": row, "vehicle": row.vehicle, "form": form}
    return render_page(request, "jobs/reading_correct.html", context, status=422 if posted else 200)
