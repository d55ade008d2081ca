"""What an invoice says beside its lines: authorizations, what is due next, what was noticed, declined and guaranteed.

The sentences are frozen with the invoice. Names and numbers of those who authorized are not among them: they stand
in side rows, which the paper reads by the authorizations' keys, so that they can be erased after the record years.
"""

import datetime as dt
from typing import Any

from garage import dates, shop
from invoicing import freezing
from invoicing.models import Authorization
from jobs.consent import DECLINED, Standing
from jobs.consents import consent_of
from jobs.models import Advisory, DueService, Job, Operation

OPEN = (Advisory.State.OPEN, Advisory.State.OFFERED)


def notices_of(job: Job, now: dt.datetime) -> dict[str, Any]:
    """Everything an invoice of the job says beside its lines, ready to be stored."""
    profile = shop.profile()
    consent = consent_of(job, job.operations.all())
    declined = consent.all_in(DECLINED)
    return {
        "authorizations": list(Authorization.objects.filter(job=job).order_by("pk").values_list("pk", flat=True)),
        "next_due": [due_sentence(row) for row in _due(job)],
        "advisories": [advisory_sentence(row) for row in _noticed(job)],
        "declined": [_declined(row, consent.of(row.pk)) for row in job.operations.all() if row.pk in declined],
        "warranty": _warranty(profile.warranty_text, job, shop.day_of(now)),
        "parts_wish": freezing.PARTS_WISH[job.parts_wish],
        "concern": job.concern,
    }


def _due(job: Job) -> list[DueService]:
    """What is due next on the vehicle, what was serviced today first."""
    if job.vehicle is None:
        return []
    rows = DueService.objects.filter(vehicle__in=job.vehicle.same()).select_related(
        "component", "procedure", "operation"
    )
    return sorted(rows, key=lambda row: (row.operation.job_id != job.pk, row.on or dt.date.max, row.pk))


def due_sentence(row: DueService) -> str:
    """When a service is due next, by distance and time: whichever comes first."""
    by_distance = f"at {row.odometer:,} {row.unit}" if row.odometer is not None else ""
    by_time = ""
    if row.every_months:
        month = row.last_on.month - 1 + row.every_months
        by_time = f"in {dates.month(dt.date(row.last_on.year + month // 12, month % 12 + 1, 1))}"
    when = " or ".join(filter(None, [by_distance, by_time]))
    return f"{row.procedure}: {when}{', whichever comes first' if by_distance and by_time else ''}."


def _noticed(job: Job) -> list[Advisory]:
    """What was noticed on the vehicle and is not done."""
    if job.vehicle is None:
        return []
    rows = Advisory.objects.filter(vehicle__in=job.vehicle.same(), state__in=OPEN)
    return list(rows.select_related("component"))


def advisory_sentence(row: Advisory) -> str:
    """What was noticed, and by when it should be done."""
    where = f"{row.component}: " if row.component else ""
    if row.limit == Advisory.Limit.DISTANCE and row.by_odometer is not None:
        until = f"to be done by {row.by_odometer:,} {row.unit}"
    elif row.limit == Advisory.Limit.DATE and row.by_date is not None:
        until = f"to be done by {dates.day(row.by_date)}"
    elif row.limit == Advisory.Limit.DRIVING:
        until = "to be done before driving"
    else:
        until = "to be looked at again at the next visit"
    return f"{where}{row.text.rstrip('.')}; {until}."


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
