"""The page of an item, writing one down, and what replaces what."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from garage.access import actor_of, allowed, may
from garage.cuts import Cut, first_of
from garage.web import after_post, asked, attempt, page_of, render_page
from parts import item_page, queries
from parts.access import item_for, item_named, supersession_for
from parts.actions.items import save_item, supersede, take_back_supersession
from parts.forms import SupersedeForm
from parts.forms_item import ItemSheet
from parts.models import Item

FOUND_SHOWN = 20


@allowed("shelf")
@require_safe
def item(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything about one item: how much, where, by which names, in which packs, and how it moved."""
    row = item_for(request, pk)
    page = page_of(queries.movements(row), request, size=12)
    context = item_page.facts(row, prices=may(request.user, "prices"))
    return render_page(request, "parts/item.html", {**context, "page": page}, partial="movements")


@allowed("stock")
@require_http_methods(["GET", "HEAD", "POST"])
def item_new(request: HttpRequest) -> HttpResponse:
    """Write an item down; `?replaces=12` makes it the one that replaces item 12."""
    return _write(request, None, item_named(request, "replaces"))


@allowed("stock")
@require_http_methods(["GET", "HEAD", "POST"])
def item_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change what the book says about an item."""
    return _write(request, item_for(request, pk), None)


def _write(request: HttpRequest, row: Item | None, replaces: Item | None) -> HttpResponse:
    posted = request.method == "POST"
    sheet = ItemSheet(request.POST if posted else None, row, replaces)
    actor = actor_of(request)

    def save() -> Item:
        return save_item(actor=actor, clock=timezone.now, item=row, replaces=replaces, **sheet.values())

    if posted and not sheet.rearranging and sheet.is_valid() and (saved := attempt(sheet.form, save)):
        messages.success(request, f"{saved} is saved.")
        return after_post(request, reverse("parts:item", args=[saved.pk]))
    context = {"sheet": sheet, "item": row, "replaces": replaces}
    status = 422 if posted and not sheet.rearranging else 200
    return render_page(request, "parts/item_edit.html", context, partial="sheet", status=status)


@allowed("stock")
@require_http_methods(["GET", "HEAD", "POST"])
def replace(request: HttpRequest, pk: int) -> HttpResponse:
    """Say which item replaces this one."""
    row = item_for(request, pk)
    form = SupersedeForm(request.POST or None, initial={"on": timezone.localdate()})
    actor = actor_of(request)
    if request.method == "POST" and attempt(
        form, lambda: supersede(old=row, actor=actor, clock=timezone.now, **form.values())
    ):
        messages.success(request, f"{row} is replaced. Its name and its stock lead to today's item now.")
        return after_post(request, reverse("parts:item", args=[row.pk]))
    text = asked(request)
    others = queries.find_items(text).filter(base_unit=row.base_unit).exclude(pk=row.pk).order_by("name", "pk")
    found = first_of(others, FOUND_SHOWN) if text else Cut()
    context = {"item": row, "form": form, "text": text, "found": found}
    status = 422 if request.method == "POST" else 200
    return render_page(request, "parts/replace.html", context, partial="found", status=status)


@allowed("stock")
@require_POST
def replace_undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a supersession back that was written down by mistake."""
    row = supersession_for(request, pk)
    take_back_supersession(supersession=row, actor=actor_of(request), clock=timezone.now)
    messages.success(request, f"{row.old} is separate again.")
    return after_post(request, reverse("parts:item", args=[pk]))
