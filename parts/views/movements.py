"""The ledger of stock as a list, and undoing an entry of it."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from garage.access import actor_of, allowed, may
from garage.web import after_post, asked, attempt, page_of, render_page
from parts import queries
from parts.access import movement_for
from parts.actions import stock
from parts.forms import ReasonForm
from parts.models import Movement


@allowed("shelf")
@require_safe
def movements(request: HttpRequest) -> HttpResponse:
    """What came and went, newest first; by kind, and by anything an item is found by."""
    text, kind = asked(request), request.GET.get("kind", "")
    rows = queries.movements()
    if text:
        rows = rows.filter(item__in=queries.with_older(queries.find_items(text)))
    if kind in Movement.Kind.values:
        rows = rows.filter(kind=kind)
    context = {
        "page": page_of(rows, request),
        "text": text,
        "kind": kind,
        "kinds": Movement.Kind.choices,
        "prices": may(request.user, "prices"),
    }
    return render_page(request, "parts/movements.html", context, partial="rows")


@allowed("stock")
@require_http_methods(["GET", "HEAD", "POST"])
def undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Undo a movement by its opposite; what a job drew is undone on the job."""
    row = movement_for(request, pk)
    form = ReasonForm(_with_reason(request.POST) if request.method == "POST" else None)
    actor = actor_of(request)
    if row.undone_here and attempt(
        form, lambda: stock.reverse(movement=row, actor=actor, clock=timezone.now, **form.cleaned_data)
    ):
        messages.success(request, f"Undone: {row}.")
        return after_post(request, reverse("parts:container", args=[row.container_id]))
    status = 422 if form.is_bound else 200
    return render_page(request, "parts/undo.html", {"movement": row, "form": form}, status=status)


def _with_reason(data: QueryDict) -> QueryDict:
    """The Undo button right after an act asks no reason: that it was pressed at once is one."""
    if "reason" in data:
        return data
    new = data.copy()
    new["reason"] = "undone right after"
    return new
