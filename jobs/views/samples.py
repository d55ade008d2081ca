"""The fluid's evidence over the years, and recommended work."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from garage.access import actor_of, allowed
from garage.gates import vehicle_for
from garage.models import Vehicle
from garage.queries import latest_reading, whole_distance
from garage.shop import profile
from garage.web import after_post, attempt, page_of, render_page
from jobs.access import job_for
from jobs.access_bay import any_advisory_for, component_for
from jobs.actions.evidence import note_advisory, settle_advisory
from jobs.fluids import FLUIDS, OIL
from jobs.forms_bay import AdvisoryForm
from jobs.models import Advisory
from jobs.queries_bay import samples_of
from jobs.verdict import judge
from jobs.views.bay import WRITE


@allowed("bay")
@require_safe
def samples(request: HttpRequest, vehicle: int, component: int) -> HttpResponse:
    """Every sample of one component of a vehicle, the last first, with the rule behind the verdict."""
    car, part = vehicle_for(request, vehicle), component_for(request, component)
    page = page_of(samples_of(car, part), request)
    judged = [(row, judge(row.seen)) for row in page.rows]
    fluid = FLUIDS[page.rows[0].fluid_kind if page.rows else OIL]
    context = {"vehicle": car, "component": part, "page": page, "judged": judged}
    context |= {"signs": fluid.signs.values(), "laboratory": fluid.laboratory}
    return render_page(request, "jobs/samples.html", context)


@allowed("bay")
@require_http_methods(WRITE)
def advisory(request: HttpRequest, pk: int) -> HttpResponse:
    """Note later work in two taps: what, and by when."""
    job = job_for(request, pk)
    posted = request.method == "POST"
    form = AdvisoryForm(request.POST, request.FILES) if posted else AdvisoryForm()

    def note() -> Advisory:
        return note_advisory(
            key=form.cleaned_data["key"],
            job=job,
            text=form.cleaned_data["text"],
            limit=form.until(_stands_at(job.vehicle)),
            photo=form.cleaned_data["photo"],
            actor=actor_of(request),
            clock=timezone.now,
        )

    noted = attempt(form, note) if posted else None
    if noted is not None:
        messages.success(request, f"Recommendation added: {noted}.")
        return after_post(request, reverse("jobs:bay-job", args=[pk]))
    context = {"form": form, "job": job, "unit": profile().distance_unit}
    return render_page(request, "jobs/advisory.html", context, status=422 if posted else 200)


def _stands_at(vehicle: Vehicle | None) -> int | None:
    """Where the odometer stands, in the shop's unit."""
    last = latest_reading(vehicle) if vehicle else None
    return whole_distance(last.reading, last.unit, profile().distance_unit) if last else None


@allowed("bay")
@require_POST
def advisory_settle(request: HttpRequest, pk: int, state: str) -> HttpResponse:
    """Mark an advisory as settled or declined, or open it again."""
    if state not in (Advisory.State.SETTLED, Advisory.State.DECLINED, Advisory.State.OPEN):
        raise Http404
    row = any_advisory_for(request, pk)
    settle_advisory(advisory=row, state=state, actor=actor_of(request), clock=timezone.now)
    return after_post(request, reverse("jobs:bay-job", args=[row.job_id]))
