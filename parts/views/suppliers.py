"""Suppliers, what they ask for a pack, and the markup on it."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from garage.access import actor_of, allowed
from garage.web import after_post, attempt, render_page
from parts import queries
from parts.access import item_for, supplier_for
from parts.actions.prices import save_markup, set_pack_price
from parts.actions.suppliers import save_supplier
from parts.forms import MarkupSheet, PackPriceForm, SupplierForm
from parts.models import Supplier


@allowed("stock")
@require_safe
def suppliers(request: HttpRequest) -> HttpResponse:
    """Everybody we buy from."""
    return render_page(request, "parts/suppliers.html", {"suppliers": queries.suppliers()})


@allowed("stock")
@require_http_methods(["GET", "HEAD", "POST"])
def supplier_new(request: HttpRequest) -> HttpResponse:
    """Write a supplier down."""
    return _write(request, None)


@allowed("stock")
@require_http_methods(["GET", "HEAD", "POST"])
def supplier_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change what the book says about a supplier."""
    return _write(request, supplier_for(request, pk))


def _write(request: HttpRequest, row: Supplier | None) -> HttpResponse:
    posted = request.method == "POST"
    initial = {"version": row.version} if row else {"name": request.GET.get("name", "")}
    form = SupplierForm(request.POST if posted else None, instance=row, initial=initial)

    def save() -> Supplier:
        fields = dict(form.cleaned_data)
        version = fields.pop("version")
        return save_supplier(supplier=row, fields=fields, version=version, actor=actor_of(request), clock=timezone.now)

    if posted and (saved := attempt(form, save)):
        messages.success(request, f"{saved} is saved.")
        return after_post(request, reverse("parts:suppliers"))
    context = {"form": form, "supplier": row}
    return render_page(request, "parts/supplier_edit.html", context, status=422 if posted else 200)


@allowed("stock")
@require_http_methods(["GET", "HEAD", "POST"])
def price_new(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down what a supplier asks for a pack of an item."""
    item = item_for(request, pk)
    form = PackPriceForm(request.POST or None, item=item, initial={"pack": request.GET.get("pack")})
    actor = actor_of(request)
    if request.method == "POST" and attempt(
        form, lambda: set_pack_price(actor=actor, clock=timezone.now, **form.cleaned_data)
    ):
        messages.success(request, "The price is added.")
        return after_post(request, reverse("parts:item", args=[item.pk]))
    context = {"item": item, "form": form}
    return render_page(request, "parts/price_new.html", context, status=422 if request.method == "POST" else 200)


@allowed("stock")
@require_http_methods(["GET", "HEAD", "POST"])
def markup(request: HttpRequest) -> HttpResponse:
    """The bands of markup that make a selling price of a cost."""
    posted = request.method == "POST"
    sheet = MarkupSheet(request.POST if posted else None, queries.markup_bands())
    actor = actor_of(request)
    ready = posted and not sheet.rearranging and sheet.is_valid()
    if ready and attempt(sheet.form, lambda: save_markup(bands=sheet.bands(), actor=actor, clock=timezone.now)):
        messages.success(request, "The markup is saved. Items without a price of their own follow it.")
        return after_post(request, reverse("parts:markup"))
    status = 422 if posted and not sheet.rearranging else 200
    return render_page(request, "parts/markup.html", {"sheet": sheet}, partial="sheet", status=status)
