"""Operations of a job sheet: added from a procedure or free, reworded, moved, removed."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from garage.access import actor_of, allowed
from garage.errors import Refused
from garage.web import after_post, asked, attempt, refusal_said, render_page
from jobs import access
from jobs.actions.removing import Authorized, remove_operation
from jobs.actions.stages import offer_again
from jobs.actions.writing_up import add_operation, edit_operation, move_operation
from jobs.consent import AUTHORIZED
from jobs.consents import consent_of
from jobs.forms import OperationForm
from jobs.models import Job, Operation
from jobs.queries import procedures_for
from jobs.views.answers import form_answer, key_of, operation_answer, sheet_url

EDIT = ["GET", "HEAD", "POST"]


@allowed("counter")
@require_http_methods(EDIT)
def operation_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Choose a procedure, the best match for the vehicle first, or write the operation free."""
    job = access.job_for(request, pk)
    form = OperationForm(request.POST or None, concern=job.concern if not job.operations.exists() else "")
    if request.method == "POST":
        operation = attempt(form, lambda: _added(request, job, form.values()))
        if operation:
            return after_post(request, sheet_url(job, operation))
    text = asked(request)
    context = {"job": job, "form": form, "text": text, "offered": procedures_for(job.vehicle, text)}
    status = 422 if request.method == "POST" else 200
    return render_page(request, "jobs/operation_add.html", context, partial="rows", status=status)


@allowed("counter")
@require_POST
def procedure_take(request: HttpRequest, pk: int, procedure_pk: int) -> HttpResponse:
    """Write up an operation from a procedure as it is published today."""
    job, procedure = access.job_for(request, pk), access.procedure_for(request, procedure_pk)
    fields = {"title": procedure.title, "revision": procedure.current}
    try:
        operation = _added(request, job, fields)
    except Refused as error:
        messages.warning(request, str(error))
        return after_post(request, sheet_url(job))
    return after_post(request, sheet_url(job, operation))


def _added(request: HttpRequest, job: Job, fields: dict[str, Any]) -> Operation:
    """A new operation, once for one key; what was done already (`correction`) is written afterwards."""
    fields = {name: value for name, value in fields.items() if name != "correction"}
    return add_operation(key=key_of(request), job=job, **fields, actor=actor_of(request), clock=timezone.now)


@allowed("counter")
@require_safe
def operation(request: HttpRequest, pk: int) -> HttpResponse:
    """One operation as it stands, when a form over it is closed again."""
    return operation_answer(request, access.operation_for(request, pk))


@allowed("counter")
@require_http_methods(EDIT)
def operation_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change an operation's words."""
    row = access.operation_for(request, pk)
    form = OperationForm(request.POST or None, operation=row)

    def change() -> Operation:
        version = form.cleaned_data["version"]
        return edit_operation(
            operation=row, fields=form.values(), version=version, actor=actor_of(request), clock=timezone.now
        )

    if request.method == "POST" and attempt(form, change):
        return operation_answer(request, row)
    asked_again = consent_of(row.job).of(row.pk).state == AUTHORIZED
    context = {"operation": row, "job": row.job, "form": form, "authorized": asked_again}
    status = 422 if request.method == "POST" else 200
    return form_answer(request, "jobs/operation_edit.html", context, f"op-{row.pk}-slot", status=status)


@allowed("counter")
@require_POST
def operation_move(request: HttpRequest, pk: int, up: bool) -> HttpResponse:
    """One place up or down."""
    row = access.operation_for(request, pk)
    with refusal_said(request):
        move_operation(operation=row, up=up, actor=actor_of(request), clock=timezone.now)
    return after_post(request, sheet_url(row.job, row))


@allowed("counter")
@require_POST
def operation_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Offer declined work again."""
    row = access.operation_for(request, pk)
    with refusal_said(request):
        offer_again(operation=row, actor=actor_of(request), clock=timezone.now)
        messages.success(request, f"“{row}” is offered again: ask the customer again.")
    return after_post(request, sheet_url(row.job, row))


@allowed("counter")
@require_http_methods(EDIT)
def operation_remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Take an operation off the sheet, authorized work only after asking; the message puts it back."""
    row = access.operation_for(request, pk)
    sure = request.POST.get("although_authorized") == "yes"
    try:
        if request.method != "POST":
            raise Authorized("")
        entry = remove_operation(operation=row, although_authorized=sure, actor=actor_of(request), clock=timezone.now)
        back = reverse("jobs:put-back", args=[entry.pk])
        messages.success(request, f"“{row}” is off the sheet.", extra_tags=f"undo:{back}")
    except Authorized:
        standing = consent_of(row.job).of(row.pk)
        return render_page(
            request, "jobs/operation_remove.html", {"operation": row, "job": row.job, "standing": standing}
        )
    except Refused as error:
        messages.warning(request, str(error))
    return after_post(request, sheet_url(row.job))
