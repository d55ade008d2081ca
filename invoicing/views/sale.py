"""Selling parts and fluids over the counter, on one sheet."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from garage import gates
from garage.access import actor_of, allowed
from garage.errors import Refused
from garage.web import after_post, render_page
from invoicing import dating
from invoicing.actions.selling import sell
from invoicing.forms_sale import SaleSheet
from invoicing.models import Invoice
from parts.access import item_named


@allowed("invoicing")
@require_http_methods(["GET", "HEAD", "POST"])
def sale(request: HttpRequest) -> HttpResponse:
    """Find what is sold, add it, take the money. `?item=12` begins with an item, `?customer=12` with who buys."""
    typed = request.POST if request.method == "POST" else None
    sheet = SaleSheet(typed, item=item_named(request, "item"), customer=gates.customer_named(request))
    if sheet.selling and (invoice := _sold(request, sheet)) is not None:
        messages.success(request, f"Sold: invoice {invoice.label}.")
        return after_post(request, reverse("invoicing:invoice", args=[invoice.pk]))
    context = {"sheet": sheet, "date_asked": dating.questions(timezone.now, actor_of(request))}
    status = 422 if sheet.selling else 200
    return render_page(request, "invoicing/sale.html", context, partial="sheet", status=status)


def _sold(request: HttpRequest, sheet: SaleSheet) -> Invoice | None:
    """The invoice of what was sold; None when it is refused, which the sheet then says."""
    if not sheet.is_valid():
        return None
    try:
        return sell(actor=actor_of(request), clock=timezone.now, **sheet.values())
    except Refused as error:
        sheet.refuse(error)
        return None
