"""The clock of the verbs: a function that tells the moment, read once the verb holds the pen.

A moment read before the wait for the pen would be older than what others wrote meanwhile: an invoice would bear a
time before its own authorization. The demo and the tests live in other years by a clock of their own.
"""

import datetime as dt
from collections.abc import Callable

from django.db.models import Q

#: Tells the moment, with its zone. Views give `django.utils.timezone.now`.
Clock = Callable[[], dt.datetime]


def fixed(moment: dt.datetime) -> Clock:
    """A clock that stands at `moment`: for a verb within a verb, which has read the clock already, and for tests."""
    return lambda: moment


def has_come(column: str, now: dt.datetime, longest: dt.timedelta) -> Q:
    """Rows whose moment has come. One further off than the longest wait was set by a clock that was ahead: now, too."""
    return Q(**{f"{column}__lte": now}) | Q(**{f"{column}__gt": now + longest})
