"""Pages of a list in order of names; each begins at an item of the page before, so none costs more than the first."""

from typing import TYPE_CHECKING

from django.db.models import Q
from django.http import HttpRequest

from garage.web import Page, key_in, page_address
from parts.models import Item

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from parts.queries import ItemToday


def page_by_name(items: "QuerySet[ItemToday]", request: HttpRequest, *, size: int = 40) -> "Page[ItemToday]":
    """Cut one page out of a list of items in order of name (`?after=` and `?before=` name an item)."""
    after, before = _edge(request, "after"), _edge(request, "before")
    if before is not None:
        found = items.filter(Q(name__lt=before.name) | Q(name=before.name, pk__lt=before.pk))
        rows = list(found.order_by("-name", "-pk")[: size + 1])
        more_before, more_after = len(rows) > size, True
        rows = rows[:size][::-1]
    else:
        if after is not None:
            items = items.filter(Q(name__gt=after.name) | Q(name=after.name, pk__gt=after.pk))
        rows = list(items.order_by("name", "pk")[: size + 1])
        more_before, more_after = after is not None, len(rows) > size
        rows = rows[:size]
    return Page(
        rows,
        page_address(request, before=rows[0].pk) if rows and more_before else "",
        page_address(request, after=rows[-1].pk) if rows and more_after else "",
    )


def _edge(request: HttpRequest, name: str) -> Item | None:
    key = key_in(request.GET.get(name, ""))
    return Item.objects.filter(pk=key).first() if key is not None else None
