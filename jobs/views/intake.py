"""Taking a customer and a vehicle in, on one sheet, without leaving it."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from garage import idempotency, search, shop
from garage.access import actor_of, allowed
from garage.cuts import Cut
from garage.errors import Refused
from garage.models import Customer
from garage.vin import read_vin
from garage.web import after_post, asked, key_in, piece_of, render_page
from jobs import intake_search, queries
from jobs.actions.intake import OPEN_JOB, open_job
from jobs.forms_intake import IntakeSheet
from jobs.models import Job
from jobs.views.answers import key_of

PAGE, PIECES = "jobs/intake.html", "jobs/intake_"


@allowed("counter")
@require_http_methods(["GET", "HEAD", "POST"])
def intake(request: HttpRequest) -> HttpResponse:
    """The sheet, empty or begun from a customer's or a vehicle's page; sent, it opens a job.

    Its smaller buttons (`look`) send everything typed to find somebody, and save nothing.
    """
    if request.method != "POST":
        return render_page(request, PAGE, _looked_up(IntakeSheet(start=_start(request)), request.GET))
    sheet = IntakeSheet(request.POST, request.FILES)
    if "look" in request.POST or ("enter" in request.POST and sheet.only_looking):
        sheet.spare()
        return render_page(request, PAGE, _looked_up(sheet, request.POST), partial="form")
    job = _opened(request, sheet)
    if job is None:
        return render_page(request, PAGE, _context(sheet, request.POST), partial="form", status=422)
    messages.success(request, f"{job} is checked in.")
    return after_post(request, reverse("jobs:sheet", args=[job.pk]))


def _opened(request: HttpRequest, sheet: IntakeSheet) -> Job | None:
    """The job, once the sheet is right; the refusal stands beside its field otherwise."""
    said = idempotency.said_by(request)
    before = idempotency.done(key=key_of(request), action=OPEN_JOB, said=said, model=Job)
    if before is not None or not sheet.is_valid():
        return before
    offers = intake_search.offers_of(sheet.chosen_vehicle, timezone.localdate())
    taken = offers.taken(request.POST.getlist("taken")) if offers else []
    try:
        return open_job(**sheet.values(), offers=taken, said=said, actor=actor_of(request), clock=timezone.now)
    except Refused as error:
        sheet.refuse(error)
        return None


@allowed("counter")
@require_safe
@piece_of("jobs:intake")
def intake_customers(request: HttpRequest) -> HttpResponse:
    """The customers that the typed text finds, to pick one."""
    context = _context(IntakeSheet(start=_start(request)), request.GET)
    return render_page(request, f"{PIECES}customers.html", context)


@allowed("counter")
@require_safe
@piece_of("jobs:intake")
def intake_vehicles(request: HttpRequest) -> HttpResponse:
    """The vehicles of the customer picked, and what is known of the one picked."""
    context = _looked_up(IntakeSheet(start=_start(request)), request.GET)
    return render_page(request, f"{PIECES}vehicles.html", {**context, "fragment": True})


@allowed("counter")
@require_safe
@piece_of("jobs:intake")
def intake_known(request: HttpRequest) -> HttpResponse:
    """What a typed VIN says, and which cars of the book have it or the plate; who has a typed phone number."""
    text = request.GET.get("phone", "")[:40]
    context = (
        {"same_phone": intake_search.customers_at(text)}
        if text
        else _known(request.GET.get("v-vin", "")[:40], request.GET.get("v-plate", "")[:40])
    )
    return render_page(request, f"{PIECES}known.html", context)


def _start(request: HttpRequest) -> dict[str, Any]:
    """What an untouched sheet begins with: who and what the address names, or the text that found nobody."""
    text = asked(request, "find", most=120)
    new = {"contact": {"phone": text}} if len(search.digits(text)) >= 7 else {"new_customer": {"name": text}}
    return {
        "unit": shop.profile().distance_unit,
        "find": text,
        "customer": request.GET.get("customer", ""),
        "vehicle": request.GET.get("vehicle", ""),
        **(new if text else {}),
    }


def _looked_up(sheet: IntakeSheet, data: QueryDict) -> dict[str, Any]:
    """What the sheet shows after a search: the one customer found is picked."""
    found = _found(sheet)
    sheet.suggest(found)
    return _context(sheet, data, found)


def _found(sheet: IntakeSheet) -> Cut[Customer]:
    text = str(sheet.pick["find"].value() or "")
    return intake_search.customers_found(text) if text else Cut()


def _context(sheet: IntakeSheet, data: QueryDict, found: Cut[Customer] | None = None) -> dict[str, Any]:
    found, customer = _found(sheet) if found is None else found, sheet.chosen_customer
    if customer is not None and customer not in found:
        found = found.with_rows([customer, *found])
    vin, plate = str(sheet.vehicle["vin"].value() or ""), str(sheet.vehicle["plate"].value() or "")
    return {
        "sheet": sheet,
        "customers": found,
        "customer": customer,
        "vehicle": sheet.chosen_vehicle,
        "choices": sheet.choices,
        "judged": list(sheet.judged()),
        "offers": intake_search.offers_of(sheet.chosen_vehicle, timezone.localdate()),
        "open_visit": queries.here_now(sheet.chosen_vehicle) if sheet.chosen_vehicle is not None else None,
        "taken_advisories": _keys(data, "advisory"),
        "taken_due": _keys(data, "due"),
        **_known(vin, plate),
    }


def _keys(data: QueryDict, kind: str) -> list[int]:
    """The offers of a kind that are ticked."""
    named = [text.partition(" ")[2] for text in data.getlist("taken") if text.startswith(f"{kind} ")]
    return [key for text in named if (key := key_in(text)) is not None]


def _known(vin: str, plate: str) -> dict[str, Any]:
    """What a typed VIN says, and which cars of the book have it or the plate."""
    return {"vin": read_vin(vin) if vin.strip() else None, "known": intake_search.vehicles_at(vin, plate)}
