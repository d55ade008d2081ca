"""The composition root of the URLs: it names the other apps as strings only."""

from django.http import HttpRequest, HttpResponse
from django.urls import include, path


def _soon(request: HttpRequest) -> HttpResponse:
    return HttpResponse("being built")


urlpatterns = [
    path("", _soon, name="today"),
    path("", include("jobs.places")),
    path("", include("parts.places")),
    path("books/", _soon, name="books"),
    path("", include("garage.site")),
    path("", include("garage.site_papers")),
    path("shelf/", include("parts.urls")),
    path("", include("jobs.urls")),
    path("", include("invoicing.urls")),
]
