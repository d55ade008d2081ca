"""Money received, given back, taken back."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from garage.access import actor_of, allowed
from garage.money import in_currency
from garage.web import after_post, attempt, page_of, render_page
from invoicing import access, queries
from invoicing.actions.payments import give_back, reverse_payment, take_payment
from invoicing.forms import GiveBackForm, PaymentForm, ReasonForm
from invoicing.models import Invoice, Payment

EDIT = ["GET", "HEAD", "POST"]


@allowed("books")
@require_safe
def payments(request: HttpRequest) -> HttpResponse:
    """Every payment, the last one first."""
    return render_page(request, "invoicing/payments.html", {"page": page_of(queries.payments(), request)})


@allowed("invoicing")
@require_http_methods(EDIT)
def payment_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Take money on an invoice."""
    row = access.invoice_for(request, pk)
    balance = row.receivable.balance if hasattr(row, "receivable") else None
    form = PaymentForm(request.POST or None, initial={"amount": balance})
    return _act(request, "invoicing/payment_add.html", row, form, take_payment, "taken", {"invoice": row})


@allowed("invoicing")
@require_http_methods(EDIT)
def payment_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Give money back that was paid before the invoice was credited."""
    row = access.invoice_for(request, pk)
    balance = row.receivable.balance if hasattr(row, "receivable") else None
    initial = {"amount": -balance if balance and balance < 0 else None}
    form = GiveBackForm(request.POST or None, initial=initial)
    return _act(request, "invoicing/payment_back.html", row, form, give_back, "given back", {"invoice": row})


@allowed("invoicing")
@require_http_methods(EDIT)
def payment_reverse(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a payment back, such as a bounced check."""
    payment = access.payment_for(request, pk)
    row = payment.parts.all()[0].invoice
    form = ReasonForm(request.POST or None)
    return _act(
        request, "invoicing/payment_reverse.html", row, form, reverse_payment, "taken back", {"payment": payment}
    )


def _act(
    request: HttpRequest,
    template: str,
    invoice: Invoice,
    form: BaseForm,
    verb: Callable[..., Payment],
    word: str,
    subject: dict[str, Any],
) -> HttpResponse:
    """Do one act with money, and lead back to the invoice; or show its form, with what was refused."""

    def act() -> Payment:
        return verb(**subject, **form.cleaned_data, actor=actor_of(request), clock=timezone.now)

    if request.method == "POST":
        payment = attempt(form, act)
        if payment is not None:
            messages.success(request, f"{in_currency(abs(payment.amount), payment.currency)} {word}.")
            return after_post(request, reverse("invoicing:invoice", args=[invoice.pk]))
    status = 422 if request.method == "POST" else 200
    return render(request, template, {"invoice": invoice, "form": form, **subject}, status=status)
