"""Coming in and going out: log in, log out, one's own password."""

import logging
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth import logout, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST
from django_htmx.http import HttpResponseClientRedirect

from garage.access import actor_of, allowed
from garage.actions.people import change_own_password
from garage.forms_shop import LoginForm, OwnPasswordForm
from garage.web import after_post, attempt, render_page, wants_fragment

log = logging.getLogger("sumpbook.entry")


@method_decorator(login_not_required, name="dispatch")
class LogIn(LoginView):
    """Name and password; ten wrong ones from one place lock that name there (settings, AXES)."""

    authentication_form = LoginForm
    redirect_authenticated_user = True

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """A piece of a page asked for after the session ended is answered with the whole log-in page."""
        if wants_fragment(request):
            page = request.htmx.current_url_abs_path or "/"  # type: ignore[attr-defined]
            return HttpResponseClientRedirect(f"{reverse('login')}?{urlencode({'next': page})}")
        return super().dispatch(request, *args, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        log.info("log in: user %s from %s", form.get_user().pk, self.request.META.get("REMOTE_ADDR"))
        return super().form_valid(form)

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        log.warning("log in refused from %s", self.request.META.get("REMOTE_ADDR"))
        response = super().form_invalid(form)
        response.status_code = 422
        return response


@allowed("today")
@require_POST
def log_out(request: HttpRequest) -> HttpResponse:
    """End the session; the browser forgets the pages it has kept, and keeps work that is not yet sent."""
    logout(request)
    response = after_post(request, reverse("login"))
    response["Clear-Site-Data"] = '"cache"'
    return response


@sensitive_post_parameters("old", "new", "again")
@allowed("today")
@require_http_methods(["GET", "HEAD", "POST"])
def own_password(request: HttpRequest) -> HttpResponse:
    """Change one's own password; the other devices are logged out."""
    posted = request.method == "POST"
    form = OwnPasswordForm(request.POST if posted else None)

    person = posted and attempt(
        form,
        lambda: change_own_password(
            actor=actor_of(request), old=form.cleaned_data["old"], new=form.cleaned_data["new"], clock=timezone.now
        ),
    )
    if person:
        update_session_auth_hash(request, person)
        messages.success(request, "Your password is changed. Other devices are logged out.")
        return after_post(request, reverse("today"))
    return render_page(request, "garage/own_password.html", {"form": form}, status=422 if posted else 200)
