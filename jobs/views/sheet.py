"""The job sheet: the visit, its work, what blocks it, and the acts on the visit as a whole."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.db.models import Model
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from garage import panels
from garage.access import actor_of, allowed
from garage.errors import Refused
from garage.web import after_post, attempt, piece_of
from jobs import access, final_look, intake_search, not_done, queries, stages
from jobs.actions.intake import add_photos, change_job
from jobs.actions.not_done import take_car
from jobs.actions.removing import put_back
from jobs.actions.stages import cancel_job, reopen_job, start_job
from jobs.actions.writing_up import take_up
from jobs.forms import CancelForm, CarTakenForm, JobForm, PhotoForm, StartForm
from jobs.models import CarTaken, Job, JobPhoto, Line, Operation
from jobs.sheet import sheet_of
from jobs.views.answers import form_answer, key_of, may_write, sheet_url

EDIT = ["GET", "HEAD", "POST"]


@allowed("counter")
@require_safe
def sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything about one visit."""
    return render(request, "jobs/sheet.html", sheet_context(request, pk))


@allowed("counter")
@require_safe
@piece_of("jobs:sheet", "pk")
def foot(request: HttpRequest, pk: int) -> HttpResponse:
    """Title, margin and foot anew, after an edit in the body."""
    return render(request, "jobs/sheet_around.html", {**sheet_context(request, pk), "oob": True})


@allowed("counter")
@require_safe
@piece_of("jobs:sheet", "pk")
def papers(request: HttpRequest, pk: int) -> HttpResponse:
    """What the books have to say beside the sheet, anew after an edit."""
    return HttpResponse("".join(panels.render("job-margin", request, access.sheet_for(request, pk))))


def sheet_context(request: HttpRequest, pk: int) -> dict[str, Any]:
    """What the sheet shows."""
    job = access.sheet_for(request, pk)
    shown = sheet_of(job)
    return {
        "job": job,
        "sheet": shown,
        "may_write": may_write(job),
        "offers": intake_search.offers_of(job.vehicle, timezone.localdate()),
        "last_visit": next(iter(queries.visits(queries.visits_before(job)[:1])), None),
        "start_form": StartForm(initial={"technician": job.technician_id}) if shown.may_start else None,
        "final_look": final_look.standing(job, job.operations.all()),
        "may_cancel": stages.may_follow(job.stage, stages.CANCELED),
        "foot_panels": panels.render("job-foot", request, job),
        "margin_panels": panels.render("job-margin", request, job),
    }


@allowed("counter")
@require_http_methods(EDIT)
def job_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change what was written when the car came in."""
    job = access.job_for(request, pk)
    form = JobForm(request.POST or None, job=job)

    def change() -> Job:
        version = form.cleaned_data["version"]
        return change_job(job=job, fields=form.values(), version=version, actor=actor_of(request), clock=timezone.now)

    if request.method == "POST" and attempt(form, change):
        messages.success(request, "Saved.")
        return after_post(request, sheet_url(job))
    status = 422 if request.method == "POST" else 200
    return form_answer(request, "jobs/job_edit.html", {"job": job, "form": form}, "visit-slot", status=status)


@allowed("counter")
@require_http_methods(EDIT)
def job_cancel(request: HttpRequest, pk: int) -> HttpResponse:
    """Call the visit off, with the reason."""
    job = access.job_for(request, pk)
    form = CancelForm(request.POST or None)

    def cancel() -> Job:
        return cancel_job(job=job, **form.cleaned_data, actor=actor_of(request), clock=timezone.now)

    if request.method == "POST" and attempt(form, cancel):
        messages.success(request, f"{job} is canceled.")
        return after_post(request, sheet_url(job))
    status = 422 if request.method == "POST" else 200
    context = {"job": job, "form": form, "panels": panels.render("job-cancel", request, job)}
    return render(request, "jobs/job_cancel.html", context, status=status)


@allowed("counter")
@require_http_methods(EDIT)
def car_taken(request: HttpRequest, pk: int) -> HttpResponse:
    """Record the customer's word that they take the car although work on it was not done."""
    job = access.job_for(request, pk)
    form = CarTakenForm(request.POST or None)

    def take() -> CarTaken:
        return take_car(job=job, **form.cleaned_data, actor=actor_of(request), clock=timezone.now)

    if request.method == "POST" and attempt(form, take):
        messages.success(request, _("The customer’s word is recorded."))
        return after_post(request, sheet_url(job))
    rows = not_done.without_a_word(not_done.of_job(job))
    context = {"job": job, "form": form, "rows": rows}
    return render(request, "jobs/car_taken.html", context, status=422 if request.method == "POST" else 200)


@allowed("counter")
@require_POST
def job_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a canceled visit up again."""
    job = access.job_for(request, pk)
    return _acted(request, job, lambda: reopen_job(job=job, actor=actor_of(request), clock=timezone.now))


@allowed("counter")
@require_POST
def job_start(request: HttpRequest, pk: int) -> HttpResponse:
    """Put the car into the bay."""
    job = access.job_for(request, pk)
    form = StartForm(request.POST)
    technician = form.cleaned_data["technician"] if form.is_valid() else None
    return _acted(
        request,
        job,
        lambda: start_job(job=job, technician=technician, actor=actor_of(request), clock=timezone.now),
    )


@allowed("counter")
@require_http_methods(EDIT)
def photo_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Add photos to the visit."""
    job = access.job_for(request, pk)
    form = PhotoForm(request.POST or None, request.FILES or None)

    def add() -> JobPhoto:
        return add_photos(
            key=key_of(request),
            job=job,
            uploads=form.uploads(),
            caption=form.cleaned_data["caption"],
            actor=actor_of(request),
            clock=timezone.now,
        )

    if request.method == "POST" and attempt(form, add):
        return after_post(request, sheet_url(job))
    status = 422 if request.method == "POST" else 200
    return render(request, "jobs/photo_add.html", {"job": job, "form": form}, status=status)


@allowed("counter")
@require_POST
def offer_take(request: HttpRequest, pk: int) -> HttpResponse:
    """Write up an earlier advisory or a service due (`taken`: advisory 12, due 3) as an operation."""
    job = access.job_for(request, pk)
    offers = intake_search.offers_of(job.vehicle, timezone.localdate())
    taken = offers.taken(request.POST.getlist("taken")[:1]) if offers else []
    if not taken:
        messages.warning(request, "That is no longer open: it was put on a job or marked done meanwhile.")
        return after_post(request, sheet_url(job))
    return _acted(
        request,
        job,
        lambda: take_up(key=key_of(request), job=job, offer=taken[0], actor=actor_of(request), clock=timezone.now),
    )


@allowed("counter")
@require_POST
def removed_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a removed line or operation back."""
    entry = access.removal_for(request, pk)
    job = access.job_for(request, entry.told["job"])
    return _acted(request, job, lambda: put_back(entry=entry, actor=actor_of(request), clock=timezone.now))


def _acted(request: HttpRequest, job: Job, act: Callable[[], Model]) -> HttpResponse:
    """Do an act of the sheet and show the sheet again, at the operation it was about; or why it was refused."""
    try:
        done = act()
    except Refused as error:
        messages.warning(request, str(error))
        return after_post(request, sheet_url(job))
    operation = done.operation if isinstance(done, Line) else done
    return after_post(request, sheet_url(job, operation if isinstance(operation, Operation) else None))
