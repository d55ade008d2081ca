"""What the job sheet's views answer: the sheet, one of its operations, or a form that stands in its place."""

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django_htmx.http import reswap, retarget, trigger_client_event

from garage.web import after_post, wants_fragment
from jobs import access, stages
from jobs.models import Job, Operation
from jobs.sheet import sheet_of


def key_of(request: HttpRequest) -> uuid.UUID:
    """The key that makes a form sent twice one act; a form without one gets one of its own."""
    try:
        return uuid.UUID(request.POST.get("key", ""))
    except ValueError:
        return uuid.uuid4()


def sheet_url(job: Job, operation: Operation | None = None) -> str:
    """The address of a job's sheet, at an operation of it."""
    return reverse("jobs:sheet", args=[job.pk]) + (f"#op-{operation.pk}" if operation is not None else "")


def may_write(job: Job) -> bool:
    """Whether operations and lines may still be written."""
    return job.stage in stages.OPEN


def operation_answer(request: HttpRequest, operation: Operation) -> HttpResponse:
    """After an edit: the operation as it stands now, and word to the rest of the sheet; without htmx the sheet."""
    if not wants_fragment(request):
        return after_post(request, sheet_url(operation.job, operation))
    sheet = sheet_of(access.sheet_for(request, operation.job_id))
    shown = next(row for row in sheet.operations if row.operation.pk == operation.pk)
    context = {"shown": shown, "job": sheet.job, "may_write": may_write(sheet.job), "edited": True}
    response = render(request, "jobs/operation.html", context)
    return trigger_client_event(response, "job-changed", after="settle")


def form_answer(
    request: HttpRequest, page: str, context: dict[str, Any], slot: str, *, status: int = 200
) -> HttpResponse:
    """A form: in its slot of the sheet when htmx asks for it, else on a page of its own."""
    if not wants_fragment(request):
        return render(request, page, context, status=status)
    response = render(request, f"{page}#form", context, status=status)
    return reswap(retarget(response, f"#{slot}"), "innerHTML")
