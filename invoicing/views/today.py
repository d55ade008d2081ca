"""The front page: what today asks of this person."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from garage.access import actor_of, allowed
from invoicing.today import day_of
from invoicing.today_margin import margin_for


@allowed("today")
@require_safe
def today(request: HttpRequest) -> HttpResponse:
    """The day's cars, each with its one next act, and beside them what else the day asks for."""
    user, now = actor_of(request), timezone.now()
    return render(request, "invoicing/today.html", {"day": day_of(user, now), "beside": margin_for(user, now)})
