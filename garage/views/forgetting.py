"""Forgetting a customer: what will be erased, what stays for the record years, and the act itself."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from garage import forgetting, gates
from garage.access import actor_of, allowed
from garage.actions.erasing import RECORD_YEARS
from garage.actions.forgetting import forget_customer
from garage.forms_fields import needed
from garage.web import after_post, attempt, render_page


class ForgetForm(forms.Form):
    """That it is meant: nothing brings it back."""

    sure = forms.BooleanField(
        label="They asked to be erased, and I know that nothing brings it back",
        error_messages=needed("Tick this to erase them."),
    )


@allowed("shop")
@require_http_methods(["GET", "HEAD", "POST"])
def customer_forget(request: HttpRequest, pk: int) -> HttpResponse:
    """See what is erased and what stays, and confirm."""
    row = gates.customer_for(request, pk)
    posted = request.method == "POST"
    form = ForgetForm(request.POST if posted else None)
    if posted and attempt(form, lambda: forget_customer(customer=row, actor=actor_of(request), clock=timezone.now)):
        messages.success(request, "Erased. What the record years keep can be erased here when they are over.")
        return after_post(request, reverse("customer", args=[row.today.pk]))
    context = {
        "customer": row,
        "form": form,
        "objections": forgetting.objections_to(row.today),
        "shares": [share for share in forgetting.Belongings(row).shares(timezone.now()) if share.now or share.later],
        "years": RECORD_YEARS,
    }
    return render_page(request, "garage/forget.html", context, status=422 if posted else 200)
