"""Finding anything by anything typed."""

from itertools import groupby

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from garage import search
from garage.access import allowed
from garage.web import render_page


@allowed("today")
@require_safe
def find(request: HttpRequest) -> HttpResponse:
    """What the typed text finds among the things this person may open, by kind."""
    text = request.GET.get("q", "")[:200].strip()
    found = search.find(text, kinds=search.kinds_for(request.user))
    order = list(dict.fromkeys(one.kind for one in found))
    groups = [
        (label, list(finds))
        for label, finds in groupby(sorted(found, key=lambda one: order.index(one.kind)), key=lambda one: one.label)
    ]
    return render_page(request, "garage/find.html", {"find_text": text, "groups": groups}, partial="found")
