"""The books: what is owed by age, the invoices, and what still has to be billed or mailed."""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from garage import search
from garage.access import allowed, may
from garage.web import asked, page_of, render_page
from invoicing import accounts, queries
from invoicing.aging import Receivable as Aged
from invoicing.aging import age
from invoicing.forms import InvoiceFilter
from invoicing.models import Invoice, Receivable
from jobs import queries as jobs_queries
from jobs.models import Stage

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
    rows = _found(owed, text)
    context = {
        "find_text": text,
        "ages": list(zip(GROUPS, ages, strict=True)),
        "total": accounts.total_balance(),
        "credit": -sum((there for _customer, there in on_account), accounts.ZERO),
        "accounts": on_account,
        "deposits": accounts.deposits(),
        "rows": [(row, max(0, (today - row.due_on).days)) for row in rows[:OWED_SHOWN]],
        "more": rows.count() > OWED_SHOWN,
        "to_invoice": jobs_queries.jobs().filter(stage=Stage.FINISHED)[:OWED_SHOWN],
        "mails": queries.unsettled_mail()[:10],
        "may_act": may(request.user, "invoicing"),
    }
    return render_page(request, "invoicing/books.html", context, partial="rows")


def _found(owed: QuerySet[Receivable], text: str) -> QuerySet[Receivable]:
    """Those whose invoice or customer the typed text finds."""
    return owed.filter(invoice__in=search.keys_of("invoice", text)) if text else owed


@allowed("books")
@require_safe
def invoices(request: HttpRequest) -> HttpResponse:
    """Every invoice and credit note, the last one first."""
    form = InvoiceFilter(request.GET)
    given: dict[str, Any] = form.cleaned_data if form.is_valid() else {}
    text, kind = str(given.get("q", "")).strip(), str(given.get("kind", ""))
    page = page_of(_narrowed(queries.invoices(), text, kind), request)
    context = {"page": page, "find_text": text, "form": form, "today": timezone.localdate(), "narrowed": text or kind}
    return render_page(request, "invoicing/invoices.html", context, partial="rows")


def _narrowed(rows: QuerySet[Invoice], text: str, kind: str) -> QuerySet[Invoice]:
    if text:
        rows = rows.filter(pk__in=search.keys_of("invoice", text))
    if kind == "owed":
        return rows.exclude(receivable__balance=0).exclude(receivable=None)
    if kind == "overdue":
        return rows.filter(receivable__balance__gt=0, due_on__lt=timezone.localdate())
    return rows.filter(kind=Invoice.Kind.CREDIT_NOTE) if kind == "credit" else rows
