"""The bay: the technician's list, a job's page, and its acts that are not on a step."""

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from garage.access import actor_of, allowed
from garage.shop import profile
from garage.web import after_post, attempt, key_in, refusal_said, render_page
from jobs import final_look, queries
from jobs.access import job_for, operation_for, shelf_line_for
from jobs.access_bay import bay_job_for
from jobs.actions.draws import draw_for_line, return_from_line
from jobs.actions.final_look import take_final_look
from jobs.actions.finishing import finish_job, left_open, not_counted
from jobs.actions.not_done import reopen_not_done
from jobs.actions.stages import start_job
from jobs.actions.writing_up import edit_operation
from jobs.bay_list import groups
from jobs.bay_sheet import status_after, work_of
from jobs.consents import authorized, consent_of
from jobs.fluids import FLUIDS, OIL
from jobs.forms_bay import FINDINGS, DrawForm, FindingsForm, FinishForm
from jobs.forms_steps import ACT_FORMS, SampleAnswerForm, act_form
from jobs.models import Job, Operation, StepEvent
from jobs.queries_bay import bay_list, samples_of
from jobs.taken import amount_of, left_over
from jobs.work_order import paper_of

WRITE = ["GET", "HEAD", "POST"]
#: Ruled lines for notes on a printed work order.
NOTE_RULES = 6


@allowed("bay")
@require_safe
def bay(request: HttpRequest) -> HttpResponse:
    """The technician's list: their own jobs, those ready to take, those of others, and what the rest waits for."""
    found = groups(bay_list(), actor_of(request))
    return render_page(request, "jobs/bay.html", {"groups": found})


@allowed("bay")
@require_safe
def bay_job(request: HttpRequest, pk: int) -> HttpResponse:
    """A job's steps, the next one enlarged, or the one that the address names."""
    return work_page(request, bay_job_for(request, pk), chosen=key_in(request.GET.get("step", "")))


def work_page(
    request: HttpRequest,
    job: Job,
    *,
    chosen: int | None = None,
    forms: Mapping[str, BaseForm] | None = None,
    said: str = "",
    act: StepEvent | None = None,
    status: int = 200,
) -> HttpResponse:
    """The page of a job in the bay, or its list of steps when htmx asks; `forms` are shown again with their errors.

    `said` is what went otherwise than meant; `act` is what was done, for whoever listens instead of looking.
    """
    lines = [line for operation in job.operations.all() for line in operation.lines.all()]
    consent = consent_of(job, job.operations.all())
    work = work_of(job, consent, queries.used(lines), chosen, viewer=actor_of(request))
    context: dict[str, Any] = {"job": job, "work": work, "said": said, "spoken": status_after(work, act) if act else ""}
    if forms and not (work.open and work.open.step.pk == chosen and forms.keys() <= work.open.forms):
        context["said"] = " ".join(error for form in forms.values() for error in _errors(form))
    if work.open is not None:
        step = work.open.step
        made = {kind: act_form(kind, step) for kind in ACT_FORMS}
        fluid = FLUIDS[step.written.revision.fluid_kind if step.written else OIL]
        context |= {
            "forms": {**made, "answer": SampleAnswerForm(sample=getattr(step, "sample", None)), **(forms or {})},
            "signs": fluid.signs.values(),
            "laboratory": fluid.laboratory,
        }
        if step.written is not None and step.written.kind == "sample":
            context["before"] = samples_of(job.vehicle, step.operation.component).exclude(step=step).first()
    return render_page(request, "jobs/bay_job.html", context, partial="work", status=status)


def _errors(form: BaseForm) -> list[str]:
    """Every sentence about a form, for a page that does not show the form itself."""
    return [str(error) for errors in form.errors.values() for error in errors]


@allowed("bay")
@require_POST
def start(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a ready job into the bay."""
    job, user = job_for(request, pk), actor_of(request)
    with refusal_said(request):
        start_job(job=job, technician=user, actor=user, clock=timezone.now)
    return after_post(request, reverse("jobs:bay-job", args=[pk]))


@allowed("bay")
@require_safe
def work_order(request: HttpRequest, pk: int) -> HttpResponse:
    """The job as a sheet to print: boxes to tick and blanks for readings, for a bay without a tablet."""
    job = bay_job_for(request, pk)
    shown = paper_of(job, consent_of(job, job.operations.all()))
    look = final_look.standing(job, job.operations.all())
    context = {"job": job, "operations": shown, "rules": range(NOTE_RULES), "look": look}
    return render_page(request, "jobs/work_order.html", context | {"looked_at": final_look.looked_at()})


@allowed("bay")
@require_http_methods(WRITE)
def finish(request: HttpRequest, pk: int) -> HttpResponse:
    """Finish the work: the final look, the odometer out, and nothing left open."""
    job, user = bay_job_for(request, pk), actor_of(request)
    posted = request.method == "POST"
    operations = list(job.operations.all())
    look = final_look.standing(job, operations)
    another = final_look.asks_another(operations, user)
    form = FinishForm(
        request.POST if posted else None,
        job=job,
        unit=profile().distance_unit,
        look=look,
        alone=another and final_look.may_alone(user),
    )
    done = list(authorized(job).select_related("revision__procedure", "component").prefetch_related("steps__written"))

    def act() -> Job:
        if look is None:
            reason = form.cleaned_data.get("look_reason", "")
            take_final_look(job=job, reason=reason, actor=user, clock=timezone.now)
        return finish_job(job=job, odometer_out=form.odometer(), actor=user, clock=timezone.now)

    if posted and attempt(form, act):
        messages.success(request, f"{job} is finished.")
        for sentence in not_counted(done):
            messages.warning(request, f"Not counted as done: {sentence}")
        return after_post(request, reverse("bay"))
    context = {"job": job, "form": form, "left": left_open(done), "not_counted": not_counted(done)}
    context |= {"look": look, "looked_at": final_look.looked_at(), "another": another}
    context["to_return"] = [(line, amount_of(line, left)) for line, left in left_over(job)]
    return render_page(request, "jobs/bay_finish.html", context, status=422 if posted else 200)


@allowed("bay")
@require_POST
def reopen(request: HttpRequest, pk: int) -> HttpResponse:
    """Take work up again that ended as not done, with the reason."""
    operation = operation_for(request, pk)
    with refusal_said(request):
        reason = request.POST.get("reason", "")
        reopen_not_done(operation=operation, reason=reason, actor=actor_of(request), clock=timezone.now)
    return after_post(request, reverse("jobs:bay-job", args=[operation.job_id]))


@allowed("bay")
@require_http_methods(WRITE)
def findings(request: HttpRequest, pk: int) -> HttpResponse:
    """What was found and what was done on an operation, in words."""
    operation = operation_for(request, pk)
    posted = request.method == "POST"
    form = FindingsForm(request.POST if posted else None, operation=operation)

    def save() -> Operation:
        fields = {name: form.cleaned_data[name] for name in FINDINGS}
        return edit_operation(
            operation=operation,
            fields=fields,
            version=form.cleaned_data["version"],
            actor=actor_of(request),
            clock=timezone.now,
        )

    if posted and attempt(form, save):
        return after_post(request, reverse("jobs:bay-job", args=[operation.job_id]))
    context = {"form": form, "operation": operation}
    return render_page(request, "jobs/bay_findings.html", context, status=422 if posted else 200)


@allowed("bay")
@require_http_methods(WRITE)
def draw(request: HttpRequest, pk: int) -> HttpResponse:
    """Draw more from the shelf for a line."""
    return _move(request, pk, draw_for_line, "Take from shelf")


@allowed("bay")
@require_http_methods(WRITE)
def bring_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Bring back to the shelf what was drawn for a line and not used."""
    return _move(request, pk, return_from_line, "Return to shelf")


def _move(request: HttpRequest, pk: int, verb: Any, heading: str) -> HttpResponse:
    line = shelf_line_for(request, pk)
    posted = request.method == "POST"
    form = DrawForm(request.POST if posted else None, line=line)

    def move() -> Any:
        quantity, typed = form.amount()
        key = form.cleaned_data["key"]
        return verb(
            key=key,
            line=line,
            quantity=quantity,
            typed=typed,
            as_it_is=request.POST.get("as_it_is", ""),
            actor=actor_of(request),
            clock=timezone.now,
        )

    if posted and attempt(form, move):
        return after_post(request, reverse("jobs:bay-job", args=[line.operation.job_id]))
    out = amount_of(line, queries.used_on(line).quantity)
    context = {"form": form, "line": line, "heading": heading, "planned": amount_of(line), "out": out}
    return render_page(request, "jobs/bay_draw.html", context, status=422 if posted else 200)
