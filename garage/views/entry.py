"""Coming in and going out: log in, log out, one's own password."""

import logging

from django.contrib import messages
from django.contrib.auth import logout, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.urls import reverse
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from garage.access import actor_of, allowed
from garage.actions.people import change_own_password
from garage.forms_shop import LoginForm, OwnPasswordForm
from garage.web import after_post, attempt, render_page

log = logging.getLogger("sumpbook.entry")


@method_decorator(login_not_required, name="dispatch")
class LogIn(LoginView):
    """Name and password; ten wrong ones from one place lock that name there (settings, AXES)."""

    authentication_form = LoginForm
    redirect_authenticated_user = True

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


@allowed("today")
@require_safe
def token(request: HttpRequest) -> HttpResponse:
    """The mark that forms carry, for a page that was open while its person logged in anew; it tells that they are in.

    The page's script asks before it sends a form: the page to log in would come in place of what was typed.
    """
    return HttpResponse(get_token(request), content_type="text/plain")


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
