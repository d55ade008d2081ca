"""The two places of the program that this app opens: their names stand outside the app's own."""

from django.urls import path

from invoicing.views import books, today

urlpatterns = [
    path("", today.today, name="today"),
    path("books/", books.books, name="books"),
]
