"""The library of procedures: found, read as the bay sees them, taken in from a file and given out as one."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_http_methods, require_safe

from garage.access import actor_of, allowed
from garage.cuts import first_of
from garage.web import after_post, asked, attempt, key_in, render_page
from jobs.access_bay import procedure_for, revision_of
from jobs.actions.procedures import publish
from jobs.forms_procedures import ProcedureFileForm
from jobs.models import ProcedureRevision
from jobs.procedure_check import Checked, check
from jobs.procedure_files import write
from jobs.procedure_schema import SCHEMA
from jobs.queries_procedures import as_written, library
from jobs.readings import spec_of
from jobs.views.bay import WRITE

SHOWN = 200


@allowed("procedures")
@require_safe
def procedures(request: HttpRequest) -> HttpResponse:
    """The library, narrowed by what is typed."""
    text = asked(request)
    context = {"procedures": first_of(library(text), SHOWN, request), "text": text}
    return render_page(request, "jobs/procedures.html", context, partial="rows")


@allowed("procedures")
@require_safe
def procedure(request: HttpRequest, pk: int, number: int | None = None) -> HttpResponse:
    """A procedure as the bay sees it, in its current revision or the one that the address names."""
    row = procedure_for(request, pk)
    revision = revision_of(row, number)
    steps = [(step, spec_of(step)) for step in revision.steps.all()]
    context = {
        "procedure": row,
        "revision": revision,
        "steps": steps,
        "cautions": revision.cautions.splitlines(),
        "tools": revision.tools.splitlines(),
        "missing": as_written(revision).missing,
    }
    return render_page(request, "jobs/procedure.html", context)


@allowed("procedures")
@require_safe
def export(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    """A revision as its file."""
    revision = revision_of(procedure_for(request, pk), number)
    name = f"{slugify(revision.procedure.title)}-{revision.number}.yaml"
    response = HttpResponse(write(as_written(revision)), content_type="application/yaml; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


@allowed("procedures")
@require_http_methods(WRITE)
def take_in(request: HttpRequest) -> HttpResponse:
    """Look a procedure file over, then publish it: a new procedure, or a new revision of a known one."""
    posted = request.method == "POST"
    form = ProcedureFileForm(request.POST, request.FILES) if posted else ProcedureFileForm(initial=_begin(request))
    checked = check(form.cleaned_data["text"]) if posted and form.is_valid() else None
    if checked is not None and checked.written is not None and "publish" in request.POST:
        revision = _publish(request, form, checked)
        if revision is not None:
            messages.success(request, f"{revision} is published.")
            return after_post(request, reverse("jobs:procedure", args=[revision.procedure_id]))
    if checked is not None:
        form = ProcedureFileForm(initial={"text": form.cleaned_data["text"]})
    wrong = posted and (checked is None or checked.problems)
    context = {"form": form, "checked": checked, "schema": SCHEMA}
    return render_page(request, "jobs/procedure_file.html", context, status=422 if wrong else 200)


def _begin(request: HttpRequest) -> dict[str, str]:
    """The text to begin with: the procedure that is to be changed (`?of=12`), or nothing."""
    key = key_in(request.GET.get("of", ""))
    if key is None:
        return {}
    revision = revision_of(procedure_for(request, key), None)
    return {"text": write(as_written(revision))}


def _publish(request: HttpRequest, form: ProcedureFileForm, checked: Checked) -> ProcedureRevision | None:
    written = checked.written
    assert written is not None
    return attempt(form, lambda: publish(written=written, actor=actor_of(request), clock=timezone.now))
