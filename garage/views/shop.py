"""The owner's page about the shop itself."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from garage.access import actor_of, allowed
from garage.actions.profile import save_profile
from garage.forms_shop import ShopProfileForm
from garage.models import ShopProfile
from garage.shop import profile
from garage.web import after_post, attempt, render_page


@allowed("shop")
@require_http_methods(["GET", "HEAD", "POST"])
def shop_profile(request: HttpRequest) -> HttpResponse:
    """What the shop says about itself on every paper."""
    posted = request.method == "POST"
    stored = profile()
    form = ShopProfileForm(request.POST if posted else None, request.FILES or None, instance=profile())

    def save() -> ShopProfile:
        fields = dict(form.cleaned_data)
        logo, without = fields.pop("logo"), fields.pop("without_logo")
        return save_profile(fields=fields, logo=logo, without_logo=without, actor=actor_of(request), clock=timezone.now)

    if posted and attempt(form, save):
        messages.success(request, "The shop's profile is saved. Papers made from now on carry it.")
        return after_post(request, reverse("shop-profile"))
    context = {"form": form, "stored": stored}
    return render_page(request, "garage/shop_profile.html", context, status=422 if posted else 200)
