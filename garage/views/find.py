"""Finding anything by anything typed."""

from collections import Counter

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from garage import search
from garage.access import allowed
from garage.web import asked, render_page


@allowed("today")
@require_safe
def find(request: HttpRequest) -> HttpResponse:
    """What the typed text finds among the things this person may open, the kind with the fewest first."""
    text = asked(request)
    found = search.find(text, kinds=search.kinds_for(request.user))
    counts = Counter(one.label for one in found)
    groups = [(label, [one for one in found if one.label == label]) for label in sorted(counts, key=counts.__getitem__)]
    context = {"find_text": text, "groups": groups, "found": found}
    return render_page(request, "garage/find.html", context, partial="found")
