"""The shop's own profile, read often and changed seldom."""

import datetime as dt
import zoneinfo

from django.utils import formats

from garage.models import ShopProfile


def profile() -> ShopProfile:
    """Return the shop's profile; a fresh one with the defaults when none has been saved yet."""
    return ShopProfile.objects.first() or ShopProfile()


def day_words(day: dt.date) -> str:
    """A day as it stands in a sentence and on a paper: November 25, 2026."""
    return formats.date_format(day, "F j, Y")


def day_of(now: dt.datetime) -> dt.date:
    """The shop's calendar day at a moment."""
    return now.astimezone(zoneinfo.ZoneInfo(profile().time_zone)).date()
