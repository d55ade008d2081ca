"""What every request needs: a log-in that leads back, the shop's time zone, headers that Django does not set itself."""

import zoneinfo
from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme

from garage import dates, shop
from garage.money import spoken_in
from garage.web import wants_fragment


class LoginMiddleware(LoginRequiredMiddleware):
    """Send visitors to log in. A form that came after the session ended leads back to its page, not its address.

    A piece of a page that is asked for then is refused, which the page says itself: it keeps what is typed in it.
    """

    def process_view(
        self,
        request: HttpRequest,
        view_func: Callable[..., HttpResponseBase],
        view_args: tuple[Any, ...],
        view_kwargs: dict[str, Any],
    ) -> HttpResponseBase | None:
        answer = super().process_view(request, view_func, view_args, view_kwargs)
        return HttpResponse(status=401) if answer is not None and wants_fragment(request) else answer

    def handle_no_permission(self, request: HttpRequest, view_func: Callable[..., Any]) -> HttpResponseRedirect:
        if request.method in ("GET", "HEAD"):
            return super().handle_no_permission(request, view_func)
        page = request.headers.get("Referer", "")
        if not url_has_allowed_host_and_scheme(page, {request.get_host()}, require_https=request.is_secure()):
            page = reverse("today")
        return redirect_to_login(urlsplit(page)._replace(scheme="", netloc="").geturl(), self.get_login_url(view_func))


class ShopMiddleware:
    """Show words and times as the shop does, answer an address that only takes forms, forbid features no page uses."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        profile = request.shop = shop.profile()  # type: ignore[attr-defined]
        zone = zoneinfo.ZoneInfo(profile.time_zone)
        with timezone.override(zone), dates.speaking(profile.locale), spoken_in(profile.currency):
            response = self.get_response(request)
            if response.status_code == 405 and request.method == "GET":
                response.content = render(request, "405.html").content
        response.setdefault("Permissions-Policy", "camera=(self), geolocation=(), microphone=(), payment=(), usb=()")
        if request.user.is_authenticated and not response.has_header("Cache-Control"):
            response["Cache-Control"] = "private, no-cache"
        return response
