"""The place of the program that this app opens: its name stands outside the app's own."""

from django.urls import path

from parts.views import shelf

urlpatterns = [path("shelf/", shelf.shelf, name="shelf")]
