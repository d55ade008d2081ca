"""The owner's pages about who may log in."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from garage import gates, queries
from garage.access import actor_of, allowed
from garage.actions.people import add_person, change_person, set_password
from garage.forms_shop import NewPersonForm, PasswordForm, PersonForm
from garage.web import after_post, attempt, render_page

WRITE = ["GET", "HEAD", "POST"]


@allowed("shop")
@require_safe
def people(request: HttpRequest) -> HttpResponse:
    """Everybody with a login, and what each role may do."""
    return render_page(request, "garage/people.html", {"people": queries.people()})


@sensitive_post_parameters("password")
@allowed("shop")
@require_http_methods(WRITE)
def person_new(request: HttpRequest) -> HttpResponse:
    """Give somebody a login."""
    posted = request.method == "POST"
    form = NewPersonForm(request.POST if posted else None)
    row = posted and attempt(form, lambda: add_person(actor=actor_of(request), clock=timezone.now, **form.cleaned_data))
    if row:
        messages.success(request, f"{row} may log in as {row.username}.")
        return after_post(request, reverse("people"))
    return render_page(request, "garage/person_new.html", {"form": form}, status=422 if posted else 200)


@allowed("shop")
@require_http_methods(WRITE)
def person_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change somebody's name and role, or take the login away."""
    person = gates.person_for(request, pk)
    posted = request.method == "POST"
    start = {name: getattr(person, name) for name in PersonForm.base_fields}
    form = PersonForm(request.POST if posted else None, initial=start)
    row = posted and attempt(
        form,
        lambda: change_person(person=person, actor=actor_of(request), clock=timezone.now, **form.cleaned_data),
    )
    if row:
        messages.success(request, f"{row} is saved.")
        return after_post(request, reverse("people"))
    context = {"person": person, "form": form}
    return render_page(request, "garage/person_edit.html", context, status=422 if posted else 200)


@sensitive_post_parameters("password")
@allowed("shop")
@require_http_methods(WRITE)
def person_password(request: HttpRequest, pk: int) -> HttpResponse:
    """Give somebody a new password."""
    person = gates.person_for(request, pk)
    posted = request.method == "POST"
    form = PasswordForm(request.POST if posted else None)
    row = posted and attempt(
        form,
        lambda: set_password(person=person, actor=actor_of(request), clock=timezone.now, **form.cleaned_data),
    )
    if row:
        messages.success(request, f"{row} has a new password. Tell it to them; they can change it themselves.")
        return after_post(request, reverse("people"))
    context = {"person": person, "form": form}
    return render_page(request, "garage/person_password.html", context, status=422 if posted else 200)
