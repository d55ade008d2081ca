"""How far something is past its limit, in words: one wording for screens, lists and papers. Figures come in as they
stand on the page; what is not past its limit has no words here."""

import datetime as dt

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from garage import dates


def distance_over(left: int | None, unit: str) -> str:
    """What a distance left below zero comes to: "6,554 mi over"; empty for any other."""
    return _("%(distance)s over") % {"distance": _distance(left, unit)} if left is not None and left < 0 else ""


def days_overdue(days: int | None) -> str:
    """What days left below zero come to: "46 days overdue"; empty for any other."""
    if days is None or days >= 0:
        return ""
    return ngettext("%(days)s day overdue", "%(days)s days overdue", -days) % {"days": f"{-days:,}"}


def overdue_since(due: dt.date, today: dt.date) -> str:
    """The same of money, with the day: "overdue since Dec 9, 2026, 46 days"; empty until that day is past."""
    days = (today - due).days
    if days <= 0:
        return ""
    said = ngettext("overdue since %(day)s, %(days)s day", "overdue since %(day)s, %(days)s days", days)
    return said % {"day": dates.day(due), "days": f"{days:,}"}


def overdue_by(left: int | None, unit: str, days: int | None) -> str:
    """The same within a sentence, both at once: "overdue by 6,554 mi and 46 days"; empty where neither is past."""
    distance = _distance(left, unit) if left is not None and left < 0 else ""
    past = -days if days is not None and days < 0 else 0
    time = ngettext("%(days)s day", "%(days)s days", past) % {"days": f"{past:,}"} if past else ""
    much = _(" and ").join(filter(None, [distance, time]))
    return _("overdue by %(much)s") % {"much": much} if much else ""


def distance_left(left: int, unit: str) -> str:
    """A distance that is still to be driven: "1,200 mi remaining"."""
    return _("%(distance)s remaining") % {"distance": _distance(left, unit)}


def time_until(days: int) -> str:
    """How far off a day is, as one says it: today, tomorrow, in 5 days, in 3 weeks, in 4 months."""
    if days <= 1:
        return _("tomorrow") if days else _("today")
    if days < 14:
        return ngettext("in %(count)s day", "in %(count)s days", days) % {"count": days}
    if days < 70:
        return ngettext("in %(count)s week", "in %(count)s weeks", days // 7) % {"count": days // 7}
    return ngettext("in %(count)s month", "in %(count)s months", days // 30) % {"count": days // 30}


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
