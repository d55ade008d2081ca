"""Money received, refunded, reversed and moved; and the page of a payment with its receipt."""

from collections.abc import Callable
from decimal import Decimal
from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from garage import gates, shop
from garage.access import actor_of, allowed, may
from garage.templatetags.figures import money
from garage.web import after_post, attempt, page_of, render_page
from invoicing import access, accounts, dating, queries
from invoicing.accounts import Place
from invoicing.actions import payments as verbs
from invoicing.actions.receipts import mail_receipt
from invoicing.forms_money import DepositForm, MoveForm, PaymentForm, ReceiptMailForm, RefundForm, ReverseForm
from invoicing.models import Allocation, Payment
from jobs import access as jobs_access

EDIT = ["GET", "HEAD", "POST"]
IN, OUT = "invoicing/money_in.html", "invoicing/money_out.html"
KEPT = "stays as credit on the account"
AnyForm = PaymentForm | ReverseForm | MoveForm


@allowed("books")
@require_safe
def payments(request: HttpRequest) -> HttpResponse:
    """Every payment, the last day first."""
    page = page_of(queries.payments(), request, day="paid_on")
    return render_page(request, "invoicing/payments.html", {"page": page})


@allowed("books")
@require_safe
def payment(request: HttpRequest, pk: int) -> HttpResponse:
    """One payment: where its money went, its receipt, and what can be done with it."""
    row = access.payment_for(request, pk)
    invoice = next((part.invoice for part in row.parts.all() if part.invoice), None)
    known = row.customer.today.emails.first()
    to = invoice.person.data.get("email", "") if invoice else known.address if known else ""
    return _page(request, row, ReceiptMailForm(initial={"to": to, "with_invoice": invoice is not None}))


@allowed("invoicing")
@require_POST
def receipt_mail(request: HttpRequest, pk: int) -> HttpResponse:
    """Mail the receipt, with the invoices it paid when they are wanted too."""
    row = access.payment_for(request, pk)
    form, actor = ReceiptMailForm(request.POST), actor_of(request)
    mail = attempt(form, lambda: mail_receipt(payment=row, **form.cleaned_data, actor=actor, clock=timezone.now))
    if mail is None:
        return _page(request, row, form, status=422)
    messages.success(request, f"The receipt goes to {mail.to}: {mail.get_state_display()}.")
    return after_post(request, reverse("invoicing:payment", args=[row.pk]))


def _page(request: HttpRequest, row: Payment, form: ReceiptMailForm, *, status: int = 200) -> HttpResponse:
    invoices = list(dict.fromkeys(part.invoice for part in row.parts.all() if part.invoice))
    context = {
        "payment": row,
        "now_at": accounts.places_of(row) if row.amount > 0 else [],
        "invoices": [(invoice, accounts.owed(invoice), accounts.paid_off_on(invoice)) for invoice in invoices],
        "paper": queries.paper_of("receipt", row.pk),
        "mails": queries.mails_of("receipt", row.pk),
        "may_act": may(request.user, "invoicing"),
        "form": form,
    }
    return render(request, "invoicing/payment.html", context, status=status)


# Money in


@allowed("invoicing")
@require_safe
def job_pay(request: HttpRequest, pk: int) -> HttpResponse:
    """Lead to the payment of what is owed on a job; to its sheet when nothing is."""
    job = jobs_access.job_for(request, pk)
    owed = (row for row in queries.standing_invoices(job) if row.receivable.balance > 0)
    row = next(owed, None)
    if row is None:
        return redirect("jobs:sheet", pk)
    return redirect("invoicing:payment-add", row.pk)


@allowed("invoicing")
@require_http_methods(EDIT)
def payment_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Record money paid on an invoice."""
    row = access.invoice_for(request, pk)
    owed = accounts.owed(row)
    form = PaymentForm(request.POST or None, owed=owed, initial={"amount": owed if owed > 0 else None})
    verb = partial(verbs.take_payment, invoice=row)
    place = accounts.on_invoice(row)
    return _act(request, IN, form, verb, "recorded", place=place, figure=owed, label="Owed")


@allowed("invoicing")
@require_http_methods(EDIT)
def deposit_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Record a deposit on a job before its invoice."""
    job = jobs_access.job_for(request, pk)
    place, form = accounts.on_job(job), DepositForm(request.POST or None)
    verb = partial(verbs.take_deposit, job=job)
    shown: dict[str, Any] = {
        "figure": accounts.standing(place) + accounts.advanced(job),
        "label": "Deposit so far",
        "date_asked": dating.questions(timezone.now, actor_of(request)) if shop.profile().deposits_taxed else [],
    }
    return _act(request, IN, form, verb, "recorded as a deposit", place=place, **shown)


@allowed("invoicing")
@require_http_methods(EDIT)
def account_pay(request: HttpRequest, pk: int) -> HttpResponse:
    """Record money that stands as credit on a customer's account."""
    customer = gates.customer_for(request, pk)
    place = accounts.on_account(customer)
    there = accounts.standing(place)
    form = PaymentForm(request.POST or None, initial={"amount": -there if there < 0 else None})
    verb = partial(verbs.take_on_account, customer=customer)
    return _act(request, IN, form, verb, "recorded on the account", place=place, figure=there, label="Credit")


# Money out


@allowed("invoicing")
@require_http_methods(EDIT)
def invoice_refund(request: HttpRequest, pk: int) -> HttpResponse:
    """Refund what an invoice is overpaid by."""
    return _refund(request, accounts.on_invoice(access.invoice_for(request, pk)))


@allowed("invoicing")
@require_http_methods(EDIT)
def deposit_refund(request: HttpRequest, pk: int) -> HttpResponse:
    """Refund a job's deposit."""
    return _refund(request, accounts.on_job(jobs_access.job_for(request, pk)))


@allowed("invoicing")
@require_http_methods(EDIT)
def account_refund(request: HttpRequest, pk: int) -> HttpResponse:
    """Refund the credit on a customer's account."""
    return _refund(request, accounts.on_account(gates.customer_for(request, pk)))


def _refund(request: HttpRequest, place: Place) -> HttpResponse:
    free = accounts.refundable(place)
    form = RefundForm(request.POST or None, initial={"amount": free or None, "method": accounts.last_method(place)})
    verb = partial(verbs.refund, place=place)
    return _act(request, OUT, form, verb, "refunded", place=place, figure=free, label="To refund")


@allowed("invoicing")
@require_http_methods(EDIT)
def payment_reverse(request: HttpRequest, pk: int) -> HttpResponse:
    """Reverse a payment, such as a bounced check."""
    row = access.payment_for(request, pk)
    verb, form = partial(verbs.reverse_payment, payment=row), ReverseForm(request.POST or None)
    return _act(request, "invoicing/payment_reverse.html", form, verb, "reversed", payment=row)


# Money moved


@allowed("invoicing")
@require_http_methods(EDIT)
def credit_apply(request: HttpRequest, pk: int) -> HttpResponse:
    """Apply the credit on the account to an invoice."""
    row = access.invoice_for(request, pk)
    source, target = accounts.on_account(row.customer), accounts.on_invoice(row)
    most = min(accounts.movable(source), max(accounts.ZERO, accounts.owed(row)))
    return _move(request, source, target, most, "of credit applied")


@allowed("invoicing")
@require_http_methods(EDIT)
def payment_take_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Take money off an invoice: it stays as credit on the account."""
    source = accounts.on_invoice(access.invoice_for(request, pk))
    return _move(request, source, None, accounts.refundable(source) or accounts.movable(source), KEPT)


@allowed("invoicing")
@require_http_methods(EDIT)
def deposit_keep(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep a job's deposit as credit on the account."""
    source = accounts.on_job(jobs_access.job_for(request, pk))
    return _move(request, source, None, accounts.movable(source), KEPT)


def _move(request: HttpRequest, source: Place, invoice: Place | None, most: Decimal, word: str) -> HttpResponse:
    """Move money to an invoice, or to the account."""
    target = invoice or accounts.on_account(source.customer)
    form = MoveForm(request.POST or None, initial={"amount": most or None})
    verb = partial(verbs.move_money, source=source, target=target)
    back = _page_of(invoice or source)
    shown: dict[str, Any] = {"place": source, "target": target, "most": most}
    return _act(request, "invoicing/money_moved.html", form, verb, word, back=back, **shown)


# What they share


def _page_of(place: Place) -> str:
    """Where a place is seen: the invoice, the job sheet, or the customer's account."""
    if place.invoice is not None:
        return reverse("invoicing:invoice", args=[place.invoice.pk])
    if place.job is not None:
        return reverse("jobs:sheet", args=[place.job.pk])
    return reverse("invoicing:account", args=[place.customer.pk])


def _act(
    request: HttpRequest,
    template: str,
    form: AnyForm,
    verb: Callable[..., Payment | Allocation],
    word: str,
    *,
    place: Place | None = None,
    back: str = "",
    **shown: Any,
) -> HttpResponse:
    """Do an act with money and lead to the payment it wrote, or back to where money was moved.

    Without one, or refused, or with something to ask, show its form.
    """
    back = back or (_page_of(place) if place else "")
    if request.method == "POST":
        actor = actor_of(request)
        made = attempt(form, lambda: verb(**form.values(), actor=actor, clock=timezone.now))
        if made is not None:
            messages.success(request, f"{money(abs(made.amount))} {word}.")
            done = reverse("invoicing:payment", args=[made.pk]) if isinstance(made, Payment) else back
            return after_post(request, done)
    status = 422 if request.method == "POST" else 200
    return render(request, template, {"form": form, "place": place, "back": back, **shown}, status=status)
