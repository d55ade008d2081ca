"""What is not billed, or not as written: skipped steps of which is said what was done, finished work left out, and a
job closed without an invoice."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from garage.access import actor_of, allowed
from garage.web import after_post, attempt, refusal_said
from invoicing import accounts, closing, drafts
from invoicing.actions.closing import close_without_invoice, reopen_closed
from invoicing.actions.left_out import bill_left_out, leave_it
from invoicing.forms_draft import CloseForm, SkippedForm
from invoicing.views.invoices import draft_context, issue_form
from jobs import access as jobs_access
from jobs.actions.skipped import answer_skipped
from jobs.models import Job, SkippedAnswer


@allowed("invoicing")
@require_POST
def skipped(request: HttpRequest, pk: int) -> HttpResponse:
    """Record what was done where steps were skipped; for less the sheet is next, where its lines are lowered."""
    operation = jobs_access.operation_for(request, pk)
    made = drafts.draft(jobs_access.sheet_for(request, operation.job_id), timezone.localdate())
    part = next((part for part in made.skipped if part.operation.pk == pk), None)
    if part is None:
        raise Http404
    form = SkippedForm(request.POST, asked=part)

    def act() -> SkippedAnswer:
        return answer_skipped(operation=operation, **form.cleaned_data, actor=actor_of(request), clock=timezone.now)

    answer = attempt(form, act)
    if answer is None:
        context = draft_context(request, made, issue_form(made), form)
        return render(request, "invoicing/invoice_make.html", context, status=422)
    if answer.choice == SkippedAnswer.Choice.LESS:
        messages.success(request, f"Now lower the hours, quantities or prices of “{operation}”, then make the invoice.")
        return after_post(request, f"{reverse('jobs:sheet', args=[operation.job_id])}#op-{operation.pk}")
    messages.success(request, f"“{operation}”: {answer.get_choice_display()}.")
    return after_post(request, reverse("invoicing:invoice-make", args=[operation.job_id]))


@allowed("invoicing")
@require_POST
def left_out(request: HttpRequest, pk: int) -> HttpResponse:
    """Bill what the job's invoice left out: its draft is next."""
    job = jobs_access.job_for(request, pk)
    with refusal_said(request):
        bill_left_out(job=job, actor=actor_of(request), clock=timezone.now)
    return after_post(request, reverse("invoicing:invoice-make", args=[pk]))


@allowed("invoicing")
@require_POST
def leave(request: HttpRequest, pk: int) -> HttpResponse:
    """Leave it unbilled after all: back to the sheet."""
    job = jobs_access.job_for(request, pk)
    with refusal_said(request):
        leave_it(job=job, actor=actor_of(request), clock=timezone.now)
    return after_post(request, reverse("jobs:sheet", args=[pk]))


@allowed("invoicing")
@require_http_methods(["GET", "HEAD", "POST"])
def close(request: HttpRequest, pk: int) -> HttpResponse:
    """Close a finished job that has nothing to bill, with the reason."""
    job, form = jobs_access.sheet_for(request, pk), CloseForm(request.POST or None)

    def act() -> Job:
        return close_without_invoice(job=job, **form.cleaned_data, actor=actor_of(request), clock=timezone.now)

    if request.method == "POST" and attempt(form, act):
        messages.success(request, f"{job} is closed without an invoice.")
        return after_post(request, reverse("jobs:sheet", args=[pk]))
    made = drafts.draft(job, timezone.localdate())
    context = {
        "job": job,
        "form": form,
        "against": list(closing.against(made)),
        "left_out": made.left_out,
        "deposit": accounts.deposit_of(job),
        "advances": made.advances,
        "may_move": True,
    }
    return render(request, "invoicing/job_close.html", context, status=422 if request.method == "POST" else 200)


@allowed("invoicing")
@require_POST
def reopen(request: HttpRequest, pk: int) -> HttpResponse:
    """Reopen a job that was closed without an invoice."""
    job = jobs_access.job_for(request, pk)
    with refusal_said(request):
        reopen_closed(job=job, actor=actor_of(request), clock=timezone.now)
    return after_post(request, reverse("jobs:sheet", args=[pk]))
