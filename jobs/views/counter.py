"""The counter's front: find anything, take a car in, and see what every open job waits for."""

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from garage import search
from garage.access import allowed
from garage.web import asked, page_of, render_page
from jobs import queries, stages
from jobs.forms import StageFilter
from jobs.models import Job, Stage
from jobs.next_act import NEXT_ACT


@dataclass(frozen=True)
class Row:
    """An open job in the list, with its next act."""

    job: Job
    act: str
    url: str
    late: bool


@allowed("counter")
@require_safe
def counter(request: HttpRequest) -> HttpResponse:
    """Find by anything typed; without it the open jobs, the newest first."""
    text = asked(request)
    form = StageFilter(request.GET)
    stage = form.cleaned_data["stage"] if form.is_valid() else ""
    jobs = queries.open_jobs().filter(stage=stage) if stage else queries.open_jobs()
    page = None if text else page_of(jobs, request)
    context = {
        "find_text": text,
        "form": form,
        "narrowed": bool(stage),
        "found": search.find(text, kinds=search.kinds_for(request.user)) if text else [],
        "page": page,
        "rows": [_row(job) for job in page.rows] if page else [],
    }
    return render_page(request, "jobs/counter.html", context, partial="rows")


def _row(job: Job) -> Row:
    act, page = NEXT_ACT[Stage(job.stage)]
    late = stages.is_late(job.stage, job.promised_at, timezone.now())
    return Row(job, act, reverse(page, args=[job.pk]), late)
