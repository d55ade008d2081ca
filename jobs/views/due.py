"""The services due, as a list of cars whose customers are to be called."""

import datetime as dt
from bisect import bisect_right

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from garage.access import allowed
from garage.web import asked, key_in, page_address, render_page
from jobs.calls import Place, calls, cars_due
from jobs.forms_lists import DueFilter

SHOWN = 30


@allowed("counter")
@require_safe
def due(request: HttpRequest) -> HttpResponse:
    """One row a car with something due, the most pressing first; what narrows the list stays in the address."""
    today, text = timezone.localdate(), asked(request)
    form = DueFilter(request.GET or None)
    until = form.until(today)
    cars = cars_due(today, until=until, component=form.component, text=text)
    start = bisect_right(cars, place) if (place := _place(request.GET.get("after", ""))) else 0
    end = start + SHOWN
    context = {
        "calls": calls([car for _day, car in cars[start:end]], today, until=until),
        "total": len(cars),
        "sooner": _page(request, cars, start - SHOWN) if start else "",
        "later": _page(request, cars, end) if end < len(cars) else "",
        "form": form,
        "find_text": text,
        "narrowed": bool(text or form.component),
        "today": today,
    }
    return render_page(request, "jobs/due.html", context, partial="rows")


def _page(request: HttpRequest, cars: list[Place], start: int) -> str:
    """The address of the page that begins with this row: after the one before it."""
    if start <= 0:
        return page_address(request)
    day, car = cars[start - 1]
    return page_address(request, after=f"{day}.{car}")


def _place(text: str) -> Place | None:
    """A place as it stands in the address; None for anything that can be none."""
    day, _, car = text.partition(".")
    key = key_in(car)
    try:
        return (dt.date.fromisoformat(day), key) if key is not None else None
    except ValueError:
        return None
