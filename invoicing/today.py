"""What a day asks of each person: the cars that are promised, those that wait and for whom, each with its next act.

What else a day asks, the shelf, the money, the mail, stands beside it: `today_margin.py`.
"""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Q, QuerySet, prefetch_related_objects
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from garage import dates, late
from garage.access import may
from garage.cuts import Cut
from garage.models import Customer, Phone, User
from garage.pressing import Act
from invoicing.models import Estimate
from jobs import queries as jobs_queries
from jobs import stages
from jobs.day import Progress, progress_of, with_work
from jobs.models import Job, Stage
from jobs.next_act import next_act

SHOWN = 12

WAITING = (Stage.WRITTEN_UP, Stage.AWAITING)
AT_WORK = (Stage.READY, Stage.IN_BAY)


@dataclass(frozen=True)
class Row:
    """A car in the list. It begins with when it was promised or with how long it waits.

    `name` is left out where the stage says whom it waits for; `offered` is what the estimate comes to.
    """

    job: Job
    href: str
    promised: bool
    waited: str
    name: str
    phone: Phone | None
    offered: Decimal | None
    progress: Progress
    act: Act | None


@dataclass(frozen=True)
class Section:
    """Rows under a heading; `page` lists them all."""

    heading: str
    rows: Cut[Row]
    page: str


@dataclass(frozen=True)
class Day:
    """A day by its name and its sections; how many cars are promised for it, and the hours of labor left on them."""

    name: str
    sections: list[Section]
    promised: int
    hours: Decimal


def day_of(user: User, now: dt.datetime) -> Day:
    """The cars of this person's day, the most pressing first; sections without rows are left out."""
    jobs = list(_jobs_for(user, now))
    evening = timezone.localtime(now).replace(hour=23, minute=59, second=59)
    promised = [job for job in jobs if _promised(job, evening)]
    groups = [(_("Promised for today"), promised), *_waiting([job for job in jobs if job not in promised])]
    cuts = [(heading, Cut.of(rows, SHOWN)) for heading, rows in groups if rows]
    shown = [job for _heading, rows in cuts for job in rows]
    progress = progress_of({job.pk: job for job in [*promised, *shown]}.values())
    make = _Rows(user, now, evening, progress, shown)
    page = reverse("counter" if may(user, "counter") else "bay" if may(user, "bay") else "books")
    return Day(
        dates.weekday(evening.date()),
        [Section(heading, rows.with_rows(make.row(job) for job in rows), page) for heading, rows in cuts],
        promised=len(promised),
        hours=sum((progress[job.pk].hours for job in promised), Decimal(0)),
    )


def _jobs_for(user: User, now: dt.datetime) -> QuerySet[Job]:
    """The jobs that are this person's business today: of those that are billed the ones of this very day."""
    if may(user, "counter"):
        morning = timezone.localtime(now).replace(hour=0, minute=0, second=0, microsecond=0)
        wanted = Q(stage__in=stages.OPEN) | Q(stage=Stage.INVOICED, stage_since__gte=morning)
    else:
        wanted = Q(stage__in=AT_WORK if may(user, "bay") else [Stage.FINISHED])
    return with_work(jobs_queries.jobs().filter(wanted)).order_by("promised_at", "pk")


def _promised(job: Job, evening: dt.datetime) -> bool:
    return job.promised_at is not None and job.promised_at <= evening and job.stage in stages.OPEN


def _waiting(jobs: Iterable[Job]) -> list[tuple[str, list[Job]]]:
    """The others by what they wait for, those that have waited longest first."""
    by_wait = sorted(jobs, key=lambda job: job.stage_since)
    groups = [
        (_("Waiting"), WAITING),
        (_("For the bay"), AT_WORK),
        (_("Finished, to be invoiced"), (Stage.FINISHED,)),
        (_("Invoiced today, to be paid"), (Stage.INVOICED,)),
    ]
    return [(heading, [job for job in by_wait if job.stage in found]) for heading, found in groups]


class _Rows:
    """Makes the rows of a day from what was read once for all of them."""

    def __init__(
        self, user: User, now: dt.datetime, evening: dt.datetime, progress: dict[int, Progress], jobs: list[Job]
    ) -> None:
        self.user, self.now, self.evening, self.progress = user, now, evening, progress
        self.counter = may(user, "counter")
        self.phones: dict[int, Phone] = {}
        self.offered: dict[int, Decimal] = {}
        if self.counter:
            people: list[Customer] = [job.customer.today for job in jobs]
            prefetch_related_objects(people, "phones")
            self.phones = {person.pk: person.phones.all()[0] for person in people if person.phones.all()}
            asked = [job.pk for job in jobs if job.stage == Stage.AWAITING]
            self.offered = dict(Estimate.objects.filter(job__in=asked).order_by("pk").values_list("job", "gross"))

    def row(self, job: Job) -> Row:
        """One car."""
        page = "jobs:sheet" if self.counter else "jobs:bay-job" if may(self.user, "bay") else ""
        return Row(
            job=job,
            href=reverse(page, args=[job.pk]) if page else "",
            promised=_promised(job, self.evening),
            waited=late.span(job.stage_since, self.now),
            name="" if job.waits_for == job.customer.name else job.customer.name,
            phone=self.phones.get(job.customer.today.pk),
            offered=self.offered.get(job.pk),
            progress=self.progress[job.pk],
            act=next_act(job, self.user),
        )
