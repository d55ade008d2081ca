"""Containers and what is set by hand: what is left, what was lost, how many are there."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from garage.access import actor_of, allowed
from garage.models import User
from garage.web import after_post, attempt, page_of, render_page
from parts import queries
from parts.access import container_for, item_for
from parts.actions import stock
from parts.actions.receiving import opening_stock
from parts.forms import ContainerForm, CountForm, OpeningForm
from parts.models import Container, Item


@allowed("shelf")
@require_safe
def container(request: HttpRequest, pk: int) -> HttpResponse:
    """One container or batch: what is in it, since when it is open, and how it moved."""
    row = container_for(request, pk)
    return _page(request, row, ContainerForm(container=row), 200)


@allowed("stock")
@require_POST
def adjust(request: HttpRequest, pk: int) -> HttpResponse:
    """Set what is left in a container, or write off what was lost."""
    row = container_for(request, pk)
    form = ContainerForm(request.POST, container=row)
    after = attempt(form, lambda: _set(form, row, actor_of(request)))
    if after is None:
        return _page(request, row, form, 422)
    _say(request, row, after)
    return after_post(request, reverse("parts:container", args=[row.pk]))


def _page(request: HttpRequest, row: Container, form: ContainerForm, status: int) -> HttpResponse:
    page = page_of(queries.movements().filter(container=row), request, size=20)
    context = {"container": row, "item": row.item, "form": form, "page": page}
    return render_page(request, "parts/container.html", context, status=status)


def _set(form: ContainerForm, row: Container, actor: User) -> Container:
    data = form.cleaned_data
    typed = data["quantity"]
    words = {"reason": data["reason"], "typed": typed.text, "key": data["key"], "actor": actor, "clock": timezone.now}
    if data["kind"] == stock.Kind.WASTE:
        return stock.waste(container=row, quantity=typed.value, **words)
    return stock.adjust(container=row, content=typed.value, kind=data["kind"], **words)


def _say(request: HttpRequest, before: Container, after: Container) -> None:
    """Say what is left now, with a way to undo it when something changed."""
    undo = ""
    if after.content != before.content:
        undo = f"undo:{reverse('parts:reverse', args=[after.movements.latest('pk').pk])}"
    messages.success(request, f"{before.label}: {queries.holds(after)} left.", extra_tags=undo)


@allowed("shelf")
@require_safe
def containers(request: HttpRequest, pk: int) -> HttpResponse:
    """Every container an item had, newest first, the empty ones too."""
    item = item_for(request, pk)
    page = page_of(queries.containers_of(item), request)
    return render_page(request, "parts/containers.html", {"item": item, "page": page})


@allowed("stock")
@require_http_methods(["GET", "HEAD", "POST"])
def count(request: HttpRequest, pk: int) -> HttpResponse:
    """Set how many of a counted item are there."""
    item = item_for(request, pk)
    if item.measured:
        raise Http404
    form = CountForm(request.POST or None, item=item)
    if request.method == "POST" and attempt(form, lambda: _count(form, item, actor_of(request))):
        messages.success(request, f"{item}: counted.")
        return after_post(request, reverse("parts:item", args=[item.pk]))
    context = {"item": item, "form": form}
    return render_page(request, "parts/count.html", context, status=422 if request.method == "POST" else 200)


def _count(form: CountForm, item: Item, actor: User) -> Item:
    data = form.cleaned_data
    return stock.count_item(
        key=data["key"],
        item=item,
        quantity=data["quantity"].value,
        reason=data["reason"],
        actor=actor,
        clock=timezone.now,
    )


@allowed("stock")
@require_http_methods(["GET", "HEAD", "POST"])
def opening(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down what stood on the shelf when the book began."""
    item = item_for(request, pk)
    form = OpeningForm(request.POST or None, item=item)
    actor = actor_of(request)
    if request.method == "POST" and attempt(
        form, lambda: opening_stock(item=item, actor=actor, clock=timezone.now, **form.values())
    ):
        messages.success(request, f"{item}: opening stock entered.")
        return after_post(request, reverse("parts:item", args=[item.pk]))
    context = {"item": item, "form": form}
    return render_page(request, "parts/opening.html", context, status=422 if request.method == "POST" else 200)
