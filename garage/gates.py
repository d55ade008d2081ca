"""Rows come through a gate: each gives the row this person may see, or 404. Views never fetch by themselves."""

from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from garage import queries
from garage.access import may
from garage.models import Customer, Document, OutgoingMail, StoredFile, User, Vehicle
from garage.web import key_named


def customer_for(request: HttpRequest, pk: int) -> Customer:
    """The customer, with phones, emails, designated persons and vehicles."""
    return get_object_or_404(queries.customers_with_contact(), pk=pk)


def customer_named(request: HttpRequest, parameter: str = "customer") -> Customer | None:
    """The customer whose number stands in the address (`?customer=12`); None when none does."""
    key = key_named(request, parameter)
    return customer_for(request, key) if key is not None else None


def vehicle_for(request: HttpRequest, pk: int) -> Vehicle:
    """The vehicle, with its owner and the owners before."""
    return get_object_or_404(queries.vehicles_with_history(), pk=pk)


def vehicle_named(request: HttpRequest, parameter: str = "vehicle") -> Vehicle | None:
    """The vehicle whose number stands in the address; None when none does."""
    key = key_named(request, parameter)
    return vehicle_for(request, key) if key is not None else None


def picture_for(request: HttpRequest, pk: int) -> StoredFile:
    """A photo for those who work on cars, the logo for the owner; documents and messages have pages of their own."""
    kinds = [StoredFile.Kind.PHOTO] * may(request.user, "bay") + [StoredFile.Kind.LOGO] * may(request.user, "shop")
    return get_object_or_404(StoredFile.objects.filter(kind__in=kinds), pk=pk)


def person_for(request: HttpRequest, pk: int) -> User:
    """Somebody with a login."""
    return get_object_or_404(User, pk=pk)


def document_for(request: HttpRequest, pk: int) -> Document:
    """A paper, with its file once it is made."""
    return get_object_or_404(Document.objects.select_related("stored"), pk=pk)


def mail_for(request: HttpRequest, pk: int) -> OutgoingMail:
    """A message of the outbox, with the file of what was sent."""
    return get_object_or_404(OutgoingMail.objects.select_related("as_sent"), pk=pk)
