"""The composition root of the URLs."""

from django.urls import include, path

urlpatterns = [
    path("", include("garage.site")),
    path("shelf/", include("parts.urls")),
    path("", include("jobs.urls")),
    path("", include("invoicing.urls")),
]
