"""The one thing that somebody does next with a job, and where: one table for every list, by what their role may do.

The pages of the papers are named by their address only: no import points up.
"""

from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy

from garage.access import may
from garage.models import User
from garage.pressing import Act
from jobs.models import Job, Stage

START = gettext_lazy("Start work")
OPEN_STEPS = gettext_lazy("Open steps")
CONTINUE = gettext_lazy("Continue")

#: At each stage the act, its page, and the right that it takes.
_AT: dict[str, tuple[str | Promise, str, str]] = {
    Stage.WRITTEN_UP: (gettext_lazy("Write estimate"), "jobs:sheet", "counter"),
    Stage.AWAITING: (gettext_lazy("Record authorization"), "invoicing:authorize", "counter"),
    Stage.READY: (START, "jobs:sheet", "counter"),  # the sheet asks who does it
    Stage.FINISHED: (gettext_lazy("Make invoice"), "invoicing:invoice-make", "invoicing"),
    Stage.INVOICED: (gettext_lazy("Record payment"), "invoicing:job-pay", "invoicing"),
}


def next_act(job: Job, user: User) -> Act | None:
    """What this person does next with a job; None where nothing is to be done, or not by them."""
    if job.stage == Stage.IN_BAY and may(user, "bay"):
        return bay_act(job, user, may_start=False)
    if job.stage == Stage.READY and not may(user, "counter") and may(user, "bay"):
        return bay_act(job, user, may_start=True)
    if job.stage not in _AT:
        return None
    label, page, right = _AT[job.stage]
    return Act(str(label), href=reverse(page, args=[job.pk])) if may(user, right) else None


def bay_act(job: Job, user: User, *, may_start: bool) -> Act:
    """What somebody in the bay does next with a job: they start it themselves, go on with it, or look at its steps."""
    if may_start:
        return Act(str(START), post=reverse("jobs:bay-start", args=[job.pk]))
    at_it = job.stage == Stage.IN_BAY and job.technician_id == user.pk
    return Act(str(CONTINUE if at_it else OPEN_STEPS), href=reverse("jobs:bay-job", args=[job.pk]))
