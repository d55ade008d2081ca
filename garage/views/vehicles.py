"""The pages of a vehicle: what it is, whose it is, how far it has come."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from garage import gates, panels, queries, search
from garage.access import actor_of, allowed
from garage.actions.vehicles import change_owner, read_odometer, save_vehicle
from garage.cuts import first_of
from garage.forms_vehicles import OdometerForm, OwnerForm, VehicleForm
from garage.models import Customer, Vehicle
from garage.shop import profile
from garage.vin import read_vin
from garage.web import after_post, asked, attempt, piece_of, render_page

READINGS_SHOWN = 8
WRITE = ["GET", "HEAD", "POST"]


@allowed("bay")
@require_safe
def vehicle(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything about one car, and what the other apps have on it."""
    row = gates.vehicle_for(request, pk)
    context = {
        "vehicle": row,
        "vin": read_vin(row.vin, heavy=row.heavy) if row.vin and not row.vin_not_standard else None,
        "readings": first_of(queries.readings_of(row), READINGS_SHOWN),
        "panels": panels.render("vehicle", request, row),
    }
    return render_page(request, "garage/vehicle.html", context)


@allowed("counter")
@require_http_methods(WRITE)
def vehicle_new(request: HttpRequest) -> HttpResponse:
    """Write a car into the book, for the customer in the address when there is one."""
    return _write(request, None, gates.customer_named(request))


@allowed("counter")
@require_http_methods(WRITE)
def vehicle_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change what the book says about a car."""
    row = gates.vehicle_for(request, pk)
    return _write(request, row, row.owner)


def _write(request: HttpRequest, vehicle: Vehicle | None, owner: Customer | None) -> HttpResponse:
    posted = request.method == "POST"
    form = VehicleForm(request.POST if posted else None, instance=vehicle)

    def save() -> Vehicle:
        fields = dict(form.cleaned_data)
        version = fields.pop("version")
        return save_vehicle(
            actor=actor_of(request), clock=timezone.now, vehicle=vehicle, fields=fields, owner=owner, version=version
        )

    row = attempt(form, save) if posted else None
    if row:
        messages.success(request, f"{row} is saved.")
        return after_post(request, reverse("vehicle", args=[row.pk]))
    context = {"form": form, "vehicle": vehicle, "owner": owner}
    return render_page(request, "garage/vehicle_edit.html", context, status=422 if posted else 200)


@allowed("counter")
@require_safe
@piece_of("vehicle-new")
def vehicle_vin(request: HttpRequest) -> HttpResponse:
    """What a VIN says, in one line, while it is being typed."""
    text = request.GET.get("vin", "")[:40]
    said = read_vin(text) if text.strip() else None
    return render_page(request, "garage/vin_line.html", {"vin": said})


@allowed("counter")
@require_http_methods(WRITE)
def vehicle_owner(request: HttpRequest, pk: int) -> HttpResponse:
    """Find the new owner, then hand the car over (or to nobody known)."""
    row = gates.vehicle_for(request, pk)
    customer = gates.customer_named(request)
    posted = request.method == "POST"
    form = OwnerForm(request.POST if posted else None, initial={"on": timezone.localdate()})

    def hand_over() -> Vehicle:
        on = form.cleaned_data["on"]
        return change_owner(vehicle=row, customer=customer, on=on, actor=actor_of(request), clock=timezone.now)

    if posted and attempt(form, hand_over):
        messages.success(request, f"{row} belongs to {customer} now." if customer else f"{row} has no known owner now.")
        return after_post(request, reverse("vehicle", args=[row.pk]))
    text = asked(request)
    context = {
        "vehicle": row,
        "customer": customer,
        "form": form,
        "text": text,
        "found": search.find(text, kinds=["customer"]),
        "nobody": "nobody" in request.GET,
    }
    return render_page(
        request, "garage/vehicle_owner.html", context, partial="" if posted else "found", status=422 if posted else 200
    )


@allowed("bay")
@require_http_methods(WRITE)
def odometer_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down what the odometer shows; all readings stand below."""
    row = gates.vehicle_for(request, pk)
    posted = request.method == "POST"
    form = OdometerForm(
        request.POST if posted else None, vehicle=row, today=timezone.localdate(), unit=profile().distance_unit
    )
    saved = posted and attempt(
        form,
        lambda: read_odometer(vehicle=row, actor=actor_of(request), clock=timezone.now, **form.cleaned_data),
    )
    if saved:
        messages.success(request, f"Odometer recorded: {saved}.")
        return after_post(request, reverse("vehicle", args=[row.pk]))
    context = {"vehicle": row, "form": form, "readings": queries.readings_of(row)}
    return render_page(request, "garage/odometer.html", context, status=422 if posted else 200)
