"""The front page of the shelf: what is there, and what runs low."""

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from garage import units
from garage.access import allowed
from garage.cuts import first_of
from garage.web import asked, piece_of, render_page
from parts import queries
from parts.paging import page_by_name

LOW_AT_FIRST = 8


@allowed("shelf")
@require_safe
def shelf(request: HttpRequest) -> HttpResponse:
    """The items with what is on hand, narrowed by anything typed, and what to buy."""
    text = asked(request)
    page = page_by_name(queries.with_former_names(queries.find_items(text)), request)
    opened = queries.open_contents(page.rows)
    low = first_of(queries.items_low().order_by("name", "pk"), LOW_AT_FIRST)
    context = {
        "page": page,
        "rows": [(item, opened.get(item.pk)) for item in page.rows],
        "text": text,
        "low": low.with_rows(queries.to_buy(low)),
    }
    return render_page(request, "parts/shelf.html", context, partial="rows")


@allowed("shelf")
@require_safe
def low(request: HttpRequest) -> HttpResponse:
    """Everything at or under its minimum, with the packs that would fill it up for the least money."""
    page = page_by_name(queries.items_low(), request)
    context = {"page": page, "rows": queries.to_buy(page.rows)}
    return render_page(request, "parts/low.html", context)


@allowed("shelf")
@require_safe
@piece_of("shelf")
def both(request: HttpRequest) -> HttpResponse:
    """What is being typed into a quantity field, in the other unit; nothing for what cannot be read yet."""
    typed, unit = request.GET.get(request.GET.get("field", "text"), ""), request.GET.get("unit")
    return HttpResponse(_other(typed, unit), content_type="text/plain")


def _other(typed: str, unit: str | None) -> str:
    try:
        number, code = units.parse_quantity(typed, unit)
        return units.both(number, code).partition(" · ")[2]
    except ValueError:
        return ""
