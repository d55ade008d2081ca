"""Work that ended as not done: what is said of it, and whether the customer's word on it is still missing."""

import zoneinfo
from collections.abc import Iterable

from django.utils.translation import gettext as _

from garage import dates, shop
from jobs.models import Advisory, CarTaken, Job, NotDone, Operation


def of_job(job: Job) -> list[NotDone]:
    """The work of a job that ended as not done and was not reopened."""
    rows = NotDone.objects.filter(operation__job=job, undone_at=None)
    return list(rows.select_related("operation", "step", "by", "advisory__operation", "taken").order_by("pk"))


def without_a_word(rows: Iterable[NotDone]) -> list[NotDone]:
    """The rows of which nobody wrote down that the customer takes the car as it is.

    Nothing is asked of what other work on a job put right.
    """
    return [row for row in rows if row.taken_id is None and not _put_right(row)]


def _put_right(row: NotDone) -> bool:
    """Whether the work recommended in its place was done as an operation: a tap that marks it done is not enough."""
    noticed = row.advisory
    return noticed is not None and noticed.state == Advisory.State.SETTLED and noticed.operation_id is not None


def missing_words(job: Job) -> list[str]:
    """What keeps a car from being handed over, one sentence an operation; a job without a car hands none over."""
    if job.vehicle_id is None:
        return []
    sentence = _("“%(work)s” was not done: record the customer’s word that they take the car as it is.")
    return [sentence % {"work": row.operation} for row in without_a_word(of_job(job))]


def said(operation: Operation) -> str:
    """What everybody reads of work that ended as not done; empty for any other."""
    row = operation.not_done
    if row is None:
        return ""
    return _("Not done: %(why)s (step %(number)s, “%(step)s”).") % {
        "why": row.why.rstrip("."),
        "number": row.step.position,
        "step": row.step,
    }


def word_said(word: CarTaken) -> str:
    """The customer's word as sheet and papers give it, in the shop's zone."""
    local = word.said_at.astimezone(zoneinfo.ZoneInfo(shop.profile().time_zone))
    return _("%(who)s, %(how)s, %(when)s: “%(words)s”") % {
        "who": word.who,
        "how": word.get_how_display(),
        "when": dates.moment(local),
        "words": word.words,
    }
