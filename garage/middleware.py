"""What every request needs: the shop's time zone, and the headers that Django does not set itself."""

import zoneinfo
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from garage import shop


class ShopMiddleware:
    """Show times in the shop's zone, and forbid browser features that no page uses."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        profile = request.shop = shop.profile()  # type: ignore[attr-defined]
        with timezone.override(zoneinfo.ZoneInfo(profile.time_zone)):
            response = self.get_response(request)
        response.setdefault("Permissions-Policy", "camera=(self), geolocation=(), microphone=(), payment=(), usb=()")
        if request.user.is_authenticated and not response.has_header("Cache-Control"):
            response["Cache-Control"] = "private, no-cache"
        return response
