"""The counter's front: find anything, take a car in, and see what every open job waits for."""

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from garage import search
from garage.access import actor_of, allowed
from garage.models import User
from garage.pressing import Act
from garage.web import asked, page_of, render_page
from jobs import queries
from jobs.forms_lists import StageFilter
from jobs.models import Job
from jobs.next_act import next_act


@dataclass(frozen=True)
class Row:
    """An open job in the list, with its next act."""

    job: Job
    act: Act | None


@allowed("counter")
@require_safe
def counter(request: HttpRequest) -> HttpResponse:
    """Find by anything typed; without it the open jobs, newest first."""
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
        "rows": [_row(job, actor_of(request)) for job in page.rows] if page else [],
    }
    return render_page(request, "jobs/counter.html", context, partial="rows")


def _row(job: Job, user: User) -> Row:
    return Row(job, next_act(job, user))
