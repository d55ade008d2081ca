"""Taking in a delivery, and the deliveries that came."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from garage.access import actor_of, allowed
from garage.web import after_post, asked, attempt, page_of, render_page
from parts import queries
from parts.access import receipt_for
from parts.actions.receiving import receive as take_in
from parts.actions.receiving import undo_receipt
from parts.forms import ReasonForm
from parts.forms_receive import ReceiveSheet


@allowed("stock")
@require_http_methods(["GET", "HEAD", "POST"])
def receive(request: HttpRequest) -> HttpResponse:
    """One delivery on one sheet: several lines, so many packs at a price a pack. `?pack=12-7-5` begins with five."""
    typed = request.POST if request.method == "POST" else None
    sheet = ReceiveSheet(typed, request.GET.getlist("pack"), asked(request, "what", most=80))
    actor = actor_of(request)
    if sheet.receiving and sheet.is_valid():
        receipt = attempt(sheet.head, lambda: take_in(actor=actor, clock=timezone.now, **sheet.values()))
        if receipt:
            messages.success(request, "Delivery received: it is on the shelf.")
            return after_post(request, reverse("parts:receipt", args=[receipt.pk]))
    status = 422 if sheet.receiving else 200
    return render_page(request, "parts/receive.html", {"sheet": sheet}, partial="sheet", status=status)


@allowed("stock")
@require_safe
def receipts(request: HttpRequest) -> HttpResponse:
    """The deliveries, newest first."""
    return render_page(request, "parts/receipts.html", {"page": page_of(queries.deliveries(), request)})


@allowed("stock")
@require_safe
def receipt(request: HttpRequest, pk: int) -> HttpResponse:
    """One delivery: what came, at what price."""
    row = receipt_for(request, pk)
    lines = queries.lines_of(row)
    context = {
        "receipt": row,
        "lines": lines,
        "total": sum(line.amount for line in lines),
        "undone": queries.is_undone(row),
    }
    return render_page(request, "parts/receipt.html", context)


@allowed("stock")
@require_http_methods(["GET", "HEAD", "POST"])
def receipt_undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a delivery back out of the book."""
    row = receipt_for(request, pk)
    form = ReasonForm(request.POST or None)
    actor = actor_of(request)
    if request.method == "POST" and attempt(
        form, lambda: undo_receipt(receipt=row, actor=actor, clock=timezone.now, **form.cleaned_data)
    ):
        messages.success(request, "The delivery is undone.")
        return after_post(request, reverse("parts:receipt", args=[row.pk]))
    context = {"receipt": row, "form": form}
    return render_page(request, "parts/receipt_undo.html", context, status=422 if request.method == "POST" else 200)
