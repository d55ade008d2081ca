"""The account of a customer: the credit on it, what is owed, and how both came to be."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from garage import gates
from garage.access import allowed, may
from garage.web import page_of
from invoicing import accounts, queries


@allowed("books")
@require_safe
def account(request: HttpRequest, pk: int) -> HttpResponse:
    """Credit, deposits, open invoices and payments of one customer."""
    customer = gates.customer_for(request, pk)
    context = {
        "customer": customer,
        **accounts.standing_of(customer),
        "deposits": accounts.deposits(customer),
        "owed": queries.owed().filter(customer__in=customer.same()),
        "moves": accounts.moves_on_account(customer),
        "page": page_of(queries.payments().filter(customer__in=customer.same()), request, day="paid_on"),
        "today": timezone.localdate(),
        "may_act": may(request.user, "invoicing"),
    }
    return render(request, "invoicing/account.html", context)
