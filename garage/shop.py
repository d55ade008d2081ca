"""The shop's own profile, read often and changed seldom."""

import datetime as dt
import zoneinfo
from collections.abc import Callable

from garage.models import ShopProfile

#: What a higher app knows that fixes a field of the profile: a sentence, or nothing while it is still free.
Fixed = Callable[[], str]
_fixed: dict[str, list[Fixed]] = {}


def fix(field: str, because: Fixed) -> None:
    """Let a field of the profile be refused once `because()` gives a sentence; named in an app's `ready`."""
    known = _fixed.setdefault(field, [])
    if because not in known:
        known.append(because)


def why_fixed(field: str) -> str:
    """Why a field of the profile can no longer be changed; empty while it can."""
    return next(filter(None, (because() for because in _fixed.get(field, ()))), "")


def profile() -> ShopProfile:
    """Return the shop's profile; a fresh one with the defaults when none has been saved yet."""
    return ShopProfile.objects.first() or ShopProfile()


def day_of(now: dt.datetime) -> dt.date:
    """The shop's calendar day at a moment."""
    return now.astimezone(zoneinfo.ZoneInfo(profile().time_zone)).date()
