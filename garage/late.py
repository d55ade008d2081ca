"""How far something is past its limit, in words: one wording for screens, lists and papers. Figures come in as they
stand on the page; what is not past its limit has no words here."""

import datetime as dt

from django.utils.translation import gettext as _
from django.utils.translation import ngettext


def distance_over(left: int | None, unit: str) -> str:
    """What a distance left below zero comes to: "6,554 mi over"; empty for any other."""
    return _("%(distance)s over") % {"distance": _distance(left, unit)} if left is not None and left < 0 else ""


def days_overdue(days: int | None) -> str:
    """What days left below zero come to: "46 days overdue"; empty for any other."""
    if days is None or days >= 0:
        return ""
    return ngettext("%(days)s day overdue", "%(days)s days overdue", -days) % {"days": f"{-days:,}"}


def late_by(promised: dt.datetime | None, now: dt.datetime) -> str:
    """How long ago something was promised: "25 min late", "2 h 10 late"; empty for what is still to come."""
    if promised is None or promised >= now:
        return ""
    return _("%(span)s late") % {"span": span(promised, now)}


def span(since: dt.datetime, now: dt.datetime) -> str:
    """The time between two moments as one says it at a counter: 20 min, 1 h 20, 3 days."""
    minutes = max(0, int((now - since).total_seconds()) // 60)
    hours, days = minutes // 60, minutes // (24 * 60)
    if days:
        return ngettext("%(days)s day", "%(days)s days", days) % {"days": f"{days:,}"}
    if hours:
        return _("%(hours)s h %(minutes)s") % {"hours": hours, "minutes": f"{minutes % 60:02}"}
    return _("%(minutes)s min") % {"minutes": minutes}


def _distance(left: int | None, unit: str) -> str:
    return f"{abs(left or 0):,} {unit}"
