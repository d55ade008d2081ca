"""The gates of the shelf: each gives the row, or 404."""

from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from garage.web import key_named
from parts.models import Container, Item, Movement, Receipt, Supersession, Supplier


def item_for(request: HttpRequest, pk: int) -> Item:
    """An item, with the item that replaces it today."""
    return get_object_or_404(Item.objects.select_related("current"), pk=pk)


def item_named(request: HttpRequest, parameter: str) -> Item | None:
    """The item whose number stands in the address (`?replaces=12`); None when none does."""
    key = key_named(request, parameter)
    return item_for(request, key) if key is not None else None


def container_for(request: HttpRequest, pk: int) -> Container:
    """A container or batch, with its item and pack."""
    return get_object_or_404(Container.objects.select_related("item", "pack", "receipt_line__receipt"), pk=pk)


def movement_for(request: HttpRequest, pk: int) -> Movement:
    """A movement, with its item and container."""
    return get_object_or_404(Movement.objects.select_related("item", "container__pack", "side"), pk=pk)


def receipt_for(request: HttpRequest, pk: int) -> Receipt:
    """A delivery, with its supplier."""
    return get_object_or_404(Receipt.objects.select_related("supplier", "by"), pk=pk)


def supplier_for(request: HttpRequest, pk: int) -> Supplier:
    """A supplier."""
    return get_object_or_404(Supplier, pk=pk)


def supersession_for(request: HttpRequest, pk: int) -> Supersession:
    """The supersession of the item with this key."""
    return get_object_or_404(Supersession.objects.select_related("old", "new"), old_id=pk, until=None)
