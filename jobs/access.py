"""The gates of the jobs: each gives the row, or 404; views never fetch by themselves."""

from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from garage.models import AuditEntry, OdometerReading
from garage.web import key_in
from jobs import queries
from jobs.models import Job, JobStep, Line, Operation, Procedure
from parts.models import Item
from parts.queries import current_item


def job_for(request: HttpRequest, pk: int) -> Job:
    """A job with its customer and vehicle."""
    return get_object_or_404(queries.jobs(), pk=pk)


def sheet_for(request: HttpRequest, pk: int) -> Job:
    """A job with everything that stands on its sheet."""
    return get_object_or_404(queries.sheets(), pk=pk)


def operation_for(request: HttpRequest, pk: int) -> Operation:
    """An operation, with its job."""
    return get_object_or_404(Operation.objects.select_related("job__vehicle", "job__customer", "component"), pk=pk)


def line_for(request: HttpRequest, pk: int) -> Line:
    """A line, with its operation and job."""
    return get_object_or_404(Line.objects.select_related("operation__job", "item"), pk=pk)


def shelf_line_for(request: HttpRequest, pk: int) -> Line:
    """A line of something from the shelf, with its operation and job: labor and charges are not drawn."""
    rows = Line.objects.select_related("operation__job", "item")
    return get_object_or_404(rows, pk=pk, item__isnull=False)


def step_for(request: HttpRequest, pk: int) -> JobStep:
    """A step, with its operation, job and what the procedure says about it."""
    rows = JobStep.objects.select_related("operation__job__vehicle", "written__need__item", "written__revision")
    return get_object_or_404(rows, pk=pk)


def procedure_for(request: HttpRequest, pk: int) -> Procedure:
    """A published procedure, with what it says today."""
    rows = Procedure.objects.select_related("current__procedure__component")
    return get_object_or_404(rows.filter(current__isnull=False), pk=pk)


def removal_for(request: HttpRequest, pk: int) -> AuditEntry:
    """The trail's entry of a line or an operation that was taken off a sheet."""
    return get_object_or_404(AuditEntry, pk=pk, verb__startswith="removed", record__startswith="jobs.")


def item_named(request: HttpRequest) -> Item | None:
    """The item of the shelf whose number stands in the address (`?item=12`): what is bought today in its place."""
    key = key_in(request.GET.get("item", ""))
    if key is None:
        return None
    return current_item(get_object_or_404(Item.objects.select_related("current"), pk=key))


def reading_for(request: HttpRequest, pk: int) -> OdometerReading:
    """An odometer reading with its car."""
    return get_object_or_404(OdometerReading.objects.select_related("vehicle"), pk=pk)
