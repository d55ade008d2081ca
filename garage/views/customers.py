"""The pages of a customer."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from garage import gates, panels, queries
from garage.access import actor_of, allowed
from garage.actions.customers import save_customer
from garage.forms_customers import CustomerSheet
from garage.models import Customer
from garage.web import after_post, attempt, page_of, render_page


@allowed("counter")
@require_safe
def customers(request: HttpRequest) -> HttpResponse:
    """All customers, newest first."""
    page = page_of(queries.customers_with_contact().filter(merged_into=None), request)
    return render_page(request, "garage/customers.html", {"page": page})


@allowed("counter")
@require_safe
def customer(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything about one customer, and what the other apps have on them."""
    row = gates.customer_for(request, pk)
    context = {
        "customer": row,
        "panels": panels.render("customer", request, row),
        "exemption_over": row.exemption_until is not None and row.exemption_until < timezone.localdate(),
    }
    return render_page(request, "garage/customer.html", context)


@allowed("counter")
@require_http_methods(["GET", "HEAD", "POST"])
def customer_new(request: HttpRequest) -> HttpResponse:
    """Write a customer into the book."""
    return _write(request, None)


@allowed("counter")
@require_http_methods(["GET", "HEAD", "POST"])
def customer_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change what the book says about a customer."""
    return _write(request, gates.customer_for(request, pk))


def _write(request: HttpRequest, customer: Customer | None) -> HttpResponse:
    posted = request.method == "POST"
    sheet = CustomerSheet(request.POST if posted else None, customer, initial={"name": request.GET.get("name", "")})
    if posted and not sheet.rearranging and sheet.is_valid():
        actor = actor_of(request)
        row = attempt(
            sheet.form, lambda: save_customer(actor=actor, clock=timezone.now, customer=customer, **sheet.values())
        )
        if row:
            messages.success(request, f"{row} is saved.")
            return after_post(request, reverse("customer", args=[row.pk]))
    status = 422 if posted and not sheet.rearranging else 200
    context = {"sheet": sheet, "customer": customer}
    return render_page(request, "garage/customer_edit.html", context, partial="sheet", status=status)
