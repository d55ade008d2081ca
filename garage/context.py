"""Template context that every page shares."""

from typing import Any

from django.http import HttpRequest

from garage.models import ShopProfile


def shop(request: HttpRequest) -> dict[str, Any]:
    """Give templates `shop`, the shop's profile that the middleware has read."""
    return {"shop": getattr(request, "shop", None) or ShopProfile()}
