"""The composition root of the URLs: it names the other apps as strings only."""

from django.urls import include, path

urlpatterns = [
    path("", include("invoicing.places")),
    path("", include("jobs.places")),
    path("", include("parts.places")),
    path("", include("garage.site")),
    path("", include("garage.site_papers")),
    path("shelf/", include("parts.urls")),
    path("", include("jobs.urls")),
    path("", include("invoicing.urls")),
]
