"""The shop's own profile, read often and changed seldom."""

from garage.models import ShopProfile


def profile() -> ShopProfile:
    """Return the shop's profile; a fresh one with the defaults when none has been saved yet."""
    return ShopProfile.objects.first() or ShopProfile()
