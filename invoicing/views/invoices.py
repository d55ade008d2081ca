"""The pages of an invoice: what it would be, the issued paper, its mail, its credit notes."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from garage import documents, late
from garage.access import actor_of, allowed, may
from garage.errors import Refused
from garage.money import spoken
from garage.web import after_post, attempt, key_in
from invoicing import access, accounts, closing, crediting, dating, drafts, freezing, leaving, queries
from invoicing.actions.invoices import credit as take_back
from invoicing.actions.invoices import issue
from invoicing.actions.issuing import mail_invoice
from invoicing.forms import CreditForm, MailForm, first_email
from invoicing.forms_draft import IssueForm, OnlyAuthorizedForm, SkippedForm
from invoicing.leaving import LeftOut
from invoicing.models import Authorization, Invoice, InvoiceLine
from invoicing.only_authorized import plan_of, sums_after
from invoicing.papers import draft_version
from invoicing.showing import from_charges, from_paper
from invoicing.sums import Sums
from invoicing.tax_changes import tax_changes
from jobs import access as jobs_access
from jobs import stages
from jobs.models import Finer


@allowed("invoicing")
@require_http_methods(["GET", "HEAD", "POST"])
def invoice_make(request: HttpRequest, pk: int) -> HttpResponse:
    """The invoice before it is issued: what was done, where it differs from what was authorized, what forbids it."""
    job = jobs_access.sheet_for(request, pk)
    standing = queries.invoice_of(job)
    if standing is not None and job.stage not in stages.OPEN and request.method != "POST":
        return after_post(request, reverse("invoicing:invoice", args=[standing.pk]))
    made_up = drafts.draft(job, timezone.localdate())
    form = issue_form(made_up, request.POST or None)

    def act() -> Invoice:
        return issue(job=job, **form.values(), actor=actor_of(request), clock=timezone.now)

    if request.method == "POST":
        made = attempt(form, act)
        if made is not None:
            messages.success(request, f"Invoice {made.label} is issued.")
            return after_post(request, reverse("invoicing:invoice", args=[made.pk]))
    status = 422 if request.method == "POST" else 200
    return render(request, "invoicing/invoice_make.html", draft_context(request, made_up, form), status=status)


def issue_form(made: drafts.DraftInvoice, data: Any = None) -> IssueForm:
    """The form that issues a draft."""
    initial = {"due_on": freezing.due_after(made.job.customer, timezone.now()), "mail_to": first_email(made.job)}
    return IssueForm(data, left_out=made.left_out, initial=initial)


def draft_context(
    request: HttpRequest, made: drafts.DraftInvoice, form: IssueForm, answering: SkippedForm | None = None
) -> dict[str, Any]:
    """What the page of a draft shows; `answering` is the answer on a skipped step that is shown with its errors."""
    job = made.job
    sums, problem = None, ""
    try:
        sums = drafts.less_advances(made, drafts.sums_of(made))
    except Refused as error:
        problem = str(error)
    asked = dating.questions(timezone.now, actor_of(request))
    stopped = made.blocks or made.over or (asked and not may(request.user, "shop"))
    deposit = accounts.deposit_of(job)
    applied = min(deposit, sums.gross) if sums else deposit
    return {
        "job": job,
        "draft": made,
        "skipped": [
            answering if answering and answering.asked == part else SkippedForm(asked=part) for part in made.skipped
        ],
        "earlier": made.earlier,
        "closes": closing.nothing_to_bill(made),
        "may_leave": job.stage == stages.FINISHED and (bool(made.earlier) or queries.was_invoiced(job)),
        "operations": from_charges([*made.operations, *made.taken_off]),
        "sums": sums,
        **_only_authorized(made, sums),
        "deposit": deposit,
        "advances": made.advances,
        "takes_deposit": job.stage in stages.OPEN,
        "may_move": True,
        "applied": -applied,
        "left": sums.gross - applied if sums else None,
        "problem": problem,
        "tax_changes": tax_changes(job, made.charges, made.on),
        "date_asked": asked,
        "may_issue": not stopped and sums is not None,
        "form": form,
    }


def _only_authorized(made: drafts.DraftInvoice, sums: Sums | None) -> dict[str, Any]:
    """What it would take to bill only what was authorized, and what was written off for that before."""
    plan = plan_of(made)
    return {
        "plan": plan,
        "plan_form": OnlyAuthorizedForm(initial={"amount": plan.net}),
        "plan_gross": sums.gross - sums_after(made, plan).gross if sums and plan.may else None,
        "written_off": [
            (charge.description, spoken(charge.net)) for charge in made.charges if charge.finer == Finer.WRITE_OFF
        ],
    }


@allowed("invoicing")
@require_POST
def invoice_draft(request: HttpRequest, pk: int) -> HttpResponse:
    """Print the invoice as it would be, marked as a draft."""
    job = jobs_access.sheet_for(request, pk)
    paper = documents.want(
        "invoice-draft", job.pk, name=f"Draft invoice of {job}.pdf", clock=timezone.now, version=draft_version(job)
    )
    return after_post(request, reverse("document", args=[paper.pk]))


@allowed("books")
@require_safe
def invoice(request: HttpRequest, pk: int) -> HttpResponse:
    """An issued invoice or credit note: what it says, its PDF, its mail, its payments."""
    row = access.invoice_for(request, pk)
    to = row.person.data.get("email", "")
    return _page(request, row, MailForm(initial={"to": to}))


@allowed("invoicing")
@require_POST
def invoice_mail(request: HttpRequest, pk: int) -> HttpResponse:
    """Mail an invoice or credit note with its PDF."""
    row = access.invoice_for(request, pk)
    form = MailForm(request.POST)
    actor = actor_of(request)
    mail = attempt(form, lambda: mail_invoice(invoice=row, to=form.cleaned_data["to"], actor=actor, clock=timezone.now))
    if mail is None:
        return _page(request, row, form, status=422)
    messages.success(request, f"It goes to {mail.to}: {mail.get_state_display()}.")
    return after_post(request, reverse("invoicing:invoice", args=[row.pk]))


def _page(request: HttpRequest, row: Invoice, form: MailForm, *, status: int = 200) -> HttpResponse:
    authorizations = Authorization.objects.filter(pk__in=row.notices.get("authorizations", []))
    receivable = getattr(row, "receivable", None)
    context = {
        "invoice": row,
        "operations": from_paper(list(row.operations.all())),
        "receivable": receivable,
        "overdue": late.overdue_since(row.due_on, timezone.localdate())
        if receivable and receivable.balance > 0
        else "",
        "parts": queries.payments_of(row),
        "paid_on": accounts.paid_off_on(row),
        "stands": accounts.standing(accounts.on_invoice(row)),
        "credit": accounts.credit_of(row.customer),
        "from_deposit": accounts.from_deposits(row),
        "paper": queries.paper_of("invoice", row.pk),
        "mails": queries.mails_of("invoice", row.pk),
        "authorizations": authorizations.select_related("person", "taken_by", "estimate__job").order_by("pk"),
        "left_out": _left_out(row),
        "may_act": may(request.user, "invoicing"),
        "cores": _cores_not_handed_in(row),
        "taken_off_by": _taken_off_by(row),
        "form": form,
    }
    return render(request, "invoicing/invoice.html", context, status=status)


def _taken_off_by(row: Invoice) -> Invoice | None:
    """The invoice that takes an advance invoice off."""
    rows = queries.taking_off(row) if row.kind == Invoice.Kind.ADVANCE else ()
    return next((one for one in rows if not queries.taken_back(one)), None)


def _cores_not_handed_in(row: Invoice) -> list[InvoiceLine]:
    """The core lines of an invoice that can still be given back; most invoices have none, and ask nothing."""
    lines = [line for line in crediting.lines_of(row) if line.finer == "core"]
    if row.kind != Invoice.Kind.INVOICE or not lines:
        return []
    out = crediting.cores_out(row, crediting.left_on(row))
    return [line for line in lines if out[line.pk] > 0]


def _left_out(row: Invoice) -> tuple[LeftOut, ...]:
    """The finished work that the job's standing invoices left out."""
    return leaving.remaining(row.job) if row.job is not None and row.kind == Invoice.Kind.INVOICE else ()


@allowed("invoicing")
@require_http_methods(["GET", "HEAD", "POST"])
def credit(request: HttpRequest, pk: int) -> HttpResponse:
    """Take an invoice back, whole or by quantities."""
    row = access.invoice_for(request, pk)
    form = CreditForm(request.POST or None, invoice=row, core=key_in(request.GET.get("core", "")))

    def act() -> Invoice:
        return take_back(invoice=row, **form.values(), actor=actor_of(request), clock=timezone.now)

    if request.method == "POST":
        note = attempt(form, act)
        if note is not None:
            messages.success(request, _("Credit memo %(number)s is issued.") % {"number": note.label})
            return after_post(request, reverse("invoicing:invoice", args=[note.pk]))
    status = 422 if request.method == "POST" else 200
    context = {"invoice": row, "form": form, "date_asked": dating.questions(timezone.now, actor_of(request))}
    return render(request, "invoicing/credit.html", context, status=status)
