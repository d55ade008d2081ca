"""The front page: what today asks of this person."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from garage.access import actor_of, allowed
from invoicing.today import sections_for


@allowed("today")
@require_safe
def today(request: HttpRequest) -> HttpResponse:
    """Sections of rows, each row with its one next act."""
    return render(request, "invoicing/today.html", {"sections": sections_for(actor_of(request), timezone.now())})
