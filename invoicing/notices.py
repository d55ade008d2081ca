"""What an invoice says beside its lines: authorizations, what is due next, what was noticed, declined and guaranteed.

The sentences are frozen with the invoice. Names and numbers of those who authorized are not among them: they stand
in side rows, which the paper reads by the authorizations' keys, so that they can be erased after the record years.
"""

import datetime as dt
from typing import Any

from django.utils.translation import gettext as _

from garage import dates, late, shop
from invoicing import freezing
from invoicing.models import Authorization
from jobs import not_done
from jobs.consent import DECLINED, Standing
from jobs.consents import consent_of
from jobs.models import Advisory, DueService, Job, Operation
from jobs.queries_due import DueRow, Recommended, due_rows, recommended

OPEN = (Advisory.State.OPEN, Advisory.State.OFFERED)


def notices_of(job: Job, now: dt.datetime) -> dict[str, Any]:
    """Everything an invoice of the job says beside its lines, ready to be stored."""
    profile, today = shop.profile(), shop.day_of(now)
    consent = consent_of(job, job.operations.all())
    declined = consent.all_in(DECLINED)
    return {
        "authorizations": list(Authorization.objects.filter(job=job).order_by("pk").values_list("pk", flat=True)),
        "next_due": [due_sentence(row, today) for row in _due(job, today)],
        "advisories": [advisory_sentence(row) for row in _noticed(job, today)],
        "not_done": not_done_on(job),
        "declined": [_declined(row, consent.of(row.pk)) for row in job.operations.all() if row.pk in declined],
        "warranty": _warranty(profile.warranty_text, job, today),
        "parts_wish": freezing.PARTS_WISH[job.parts_wish],
        "concern": job.concern,
    }


def not_done_on(job: Job) -> list[str]:
    """The work of a job that ended as not done, one sentence an operation."""
    return [_not_done(row) for row in job.operations.all() if row.not_done_id is not None]


def _due(job: Job, today: dt.date) -> list[DueRow]:
    """What is due next on the vehicle, what was serviced today first."""
    if job.vehicle is None:
        return []
    rows = due_rows(DueService.objects.filter(vehicle__in=job.vehicle.same()).select_related("operation"), today)
    return sorted(rows, key=lambda row: (row.due.operation.job_id != job.pk, row.due.on or dt.date.max, row.due.pk))


def due_sentence(row: DueRow, today: dt.date) -> str:
    """When a service is due next, by distance and time: whichever comes first; and by how much it is overdue.

    By the odometer that was just read and the interval's own months, not by a day that was foreseen.
    """
    by_distance = f"at {row.at:,} {row.unit}" if row.at is not None else ""
    by_time = f"in {dates.month(row.by_time)}" if row.by_time else ""
    when = " or ".join(filter(None, [by_distance, by_time]))
    first = ", whichever comes first" if by_distance and by_time else ""
    over = late.overdue_by(row.left, row.unit, (row.by_time - today).days if row.by_time else None)
    return f"{row.due.procedure}: {': '.join(filter(None, [f'{when}{first}', over]))}."


def _noticed(job: Job, today: dt.date) -> list[Recommended]:
    """What was noticed on the vehicle and is not done."""
    if job.vehicle is None:
        return []
    return recommended(Advisory.objects.filter(vehicle__in=job.vehicle.same(), state__in=OPEN), today)


def advisory_sentence(row: Recommended) -> str:
    """What was noticed, by when it should be done, and by how much it is overdue."""
    noticed = row.advisory
    where = f"{noticed.component}: " if noticed.component else ""
    if noticed.limit == Advisory.Limit.DISTANCE and row.at is not None:
        until = f"to be done by {row.at:,} {row.unit}"
    elif noticed.limit == Advisory.Limit.DATE and noticed.by_date is not None:
        until = f"to be done by {dates.day(noticed.by_date)}"
    elif noticed.limit == Advisory.Limit.DRIVING:
        until = "to be done before driving"
    else:
        until = "to be looked at again at the next visit"
    return f"{where}{noticed.text.rstrip('.')}; {': '.join(filter(None, [until, row.overdue_by]))}."


def _not_done(row: Operation) -> str:
    """What was not done and why, and the customer's word that they take the car as it is."""
    assert row.not_done is not None  # asked by the caller
    word = row.not_done.taken
    taken = f" {_('The customer takes the car as it is:')} {not_done.word_said(word)}" if word else ""
    return f"{row.title}. {not_done.said(row)}{taken}"


def _declined(row: Operation, standing: Standing) -> str:
    withdrawn = ", authorized at first" if standing.withdrawn else ""
    words = f", in the customer’s words: “{standing.words}”" if standing.words else ""
    return f"{row.title}{withdrawn}{words}."


def _warranty(text: str, job: Job, today: dt.date) -> str:
    """The shop's warranty, and the day and odometer it counts from; it is one on work, and a counter sale has none."""
    if not text.strip() or job.is_sale:
        return ""
    odometer = f" and {job.odometer_out}" if job.odometer_out else ""
    return f"{text.strip()} Counted from {dates.day(today)}{odometer}."
