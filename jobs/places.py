"""The two places of the program that this app opens: their names stand outside the app's own."""

from django.urls import path

from jobs.views import bay, counter

urlpatterns = [
    path("counter/", counter.counter, name="counter"),
    path("bay/", bay.bay, name="bay"),
]
