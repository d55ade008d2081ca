"""The gates of the bay: each gives the row with what its page shows, or 404."""

from django.http import Http404, HttpRequest
from django.shortcuts import get_object_or_404

from jobs.models import Advisory, Component, Job, Procedure, ProcedureRevision
from jobs.queries_bay import bay_jobs
from jobs.queries_procedures import whole_procedures


def bay_job_for(request: HttpRequest, pk: int) -> Job:
    """A job with its operations' steps, readings and photos, and what is drawn for it."""
    return get_object_or_404(bay_jobs(), pk=pk)


def component_for(request: HttpRequest, pk: int) -> Component:
    """A component."""
    return get_object_or_404(Component, pk=pk)


def any_advisory_for(request: HttpRequest, pk: int) -> Advisory:
    """An advisory, whatever became of it."""
    return get_object_or_404(Advisory.objects.select_related("job"), pk=pk)


def procedure_for(request: HttpRequest, pk: int) -> Procedure:
    """A published procedure with all its revisions."""
    return get_object_or_404(whole_procedures().filter(current__isnull=False), pk=pk)


def revision_of(procedure: Procedure, number: int | None) -> ProcedureRevision:
    """One revision of a procedure that came through its gate; the current one when no number is given."""
    for revision in procedure.revisions.all():
        if revision.number == number or (number is None and revision.pk == procedure.current_id):
            return revision
    raise Http404
