"""Photos and the logo, served through a gate and never by the static server."""

from django.http import FileResponse, HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from garage import gates
from garage.access import allowed

SHOWN = ("image/jpeg", "image/png")


@allowed("bay")
@require_safe
def photo(request: HttpRequest, pk: int) -> HttpResponseBase:
    """A picture as it was stored; anything that is no picture would be offered for saving, not shown.

    The sandbox keeps it harmless even where a browser should take it for a page.
    """
    stored = gates.picture_for(request, pk)
    if stored.erased_at is not None:
        return render(request, "garage/erased.html", {"stored": stored}, status=410)
    response = FileResponse(
        stored.file.open("rb"),
        filename=stored.name,
        content_type=stored.content_type,
        as_attachment=stored.content_type not in SHOWN,
    )
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response["X-Content-Type-Options"] = "nosniff"
    response["Cache-Control"] = "private, max-age=3600"
    return response
