"""The books: what is owed by age, the invoices, and what still has to be billed or mailed."""

from typing import Any
from urllib.parse import urlencode

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from garage import gates, search
from garage.access import actor_of, allowed, may
from garage.cuts import first_of
from garage.models import Vehicle
from garage.web import asked, page_of, render_page
from invoicing import accounts, queries
from invoicing.aging import Receivable as Aged
from invoicing.aging import age
from invoicing.forms import InvoiceFilter
from invoicing.models import Invoice, Receivable
from invoicing.next_act import money_act
from jobs import queries as jobs_queries
from jobs.models import Stage
from jobs.next_act import next_act

GROUPS = ("Not due", "1 to 30 days", "31 to 60", "61 to 90", "Over 90")
OWED_SHOWN = 50


@allowed("books")
@require_safe
def books(request: HttpRequest) -> HttpResponse:
    """What is owed and since when; what waits to be billed; what mail waits for a person."""
    today = timezone.localdate()
    text = asked(request)
    owed = queries.owed()
    on_account = accounts.accounts()
    ages = age([Aged(due, balance) for due, balance in owed.values_list("due_on", "balance")], today)
    rows, user = first_of(_found(owed, text), OWED_SHOWN), actor_of(request)
    finished = first_of(jobs_queries.jobs().filter(stage=Stage.FINISHED), OWED_SHOWN, request)
    context = {
        "find_text": text,
        "ages": list(zip(GROUPS, ages, strict=True)),
        "total": accounts.total_balance(),
        "credit": -sum((there for _customer, there in on_account), accounts.ZERO),
        "accounts": on_account,
        "deposits": accounts.deposits(),
        "rows": rows.with_rows((row, money_act(row, user)) for row in rows),
        "all_owed": f"{reverse('invoicing:invoices')}?{urlencode({'kind': 'owed', 'q': text})}",
        "to_invoice": finished.with_rows((job, next_act(job, user)) for job in finished),
        "mails": queries.unsettled_mail().count(),
        "may_act": may(request.user, "invoicing"),
    }
    return render_page(request, "invoicing/books.html", context, partial="rows")


def _found(owed: QuerySet[Receivable], text: str) -> QuerySet[Receivable]:
    """Those whose invoice or customer the typed text finds."""
    return owed.filter(invoice__in=search.keys_of("invoice", text)) if text else owed


@allowed("books")
@require_safe
def invoices(request: HttpRequest) -> HttpResponse:
    """Every invoice and credit note, newest first; `?customer=12` or `?vehicle=12` lists those of one."""
    form = InvoiceFilter(request.GET)
    given: dict[str, Any] = form.cleaned_data if form.is_valid() else {}
    text, kind = str(given.get("q", "")).strip(), str(given.get("kind", ""))
    subject = gates.customer_named(request) or gates.vehicle_named(request)
    rows = queries.invoices_of(subject) if subject is not None else queries.invoices()
    page, user = page_of(_narrowed(rows, text, kind), request), actor_of(request)
    context = {
        "page": page,
        "rows": [(row, money_act(getattr(row, "receivable", None), user)) for row in page.rows],
        "may_act": may(user, "invoicing"),
        "find_text": text,
        "form": form,
        "narrowed": text or kind or subject,
        "subject": subject,
        "of": "vehicle" if isinstance(subject, Vehicle) else "customer",
    }
    return render_page(request, "invoicing/invoices.html", context, partial="rows")


def _narrowed(rows: QuerySet[Invoice], text: str, kind: str) -> QuerySet[Invoice]:
    if text:
        rows = rows.filter(pk__in=search.keys_of("invoice", text))
    if kind == "owed":
        return rows.exclude(receivable__balance=0).exclude(receivable=None)
    if kind == "overdue":
        return rows.filter(receivable__balance__gt=0, due_on__lt=timezone.localdate())
    if kind == "sale":
        return rows.filter(consent=Invoice.Consent.SALE)
    return rows.filter(kind=Invoice.Kind.CREDIT_NOTE) if kind == "credit" else rows
