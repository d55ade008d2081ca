"""The printed papers: what fills the templates of estimates, invoices, credit notes and their drafts.

The worker makes them: there is no request here and no page's time zone, so every date and figure is text already.
"""

import io
import zlib
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

import segno
from django.utils import timezone

from garage import dates, documents, shop
from garage.documents import Printable
from garage.forms_fields import plain_text
from garage.models import ShopProfile
from garage.models.shop import Locale
from garage.money import in_currency, spoken
from invoicing import accounts, charges, consents, drafts, freezing, queries
from invoicing.comparing import amount
from invoicing.freezing import proven_moment, said_moment, said_promise
from invoicing.models import Authorization, Estimate, Invoice, InvoiceTax, Payment, PaymentPart, Treatment
from invoicing.notices import not_done_on
from invoicing.showing import against_consent, from_charges, from_paper
from invoicing.sums import OperationCharges, Sums, TaxSum, counted, only_if_needed
from invoicing.tax_changes import tax_changes
from jobs import queries as jobs_queries
from jobs.models import Job

LABEL_OF_QR = "qr.svg"
DEPOSIT_AFTER = "taken off the total when the work is billed"


def register() -> None:
    """Tell the worker how each kind of paper is built."""
    documents.register("estimate", estimate_paper, lambda pk: written_in(Estimate.objects.get(pk=pk)))
    documents.register("estimate-draft", estimate_draft)
    documents.register("invoice", invoice_paper, lambda pk: written_in(Invoice.objects.get(pk=pk)))
    documents.register("invoice-draft", invoice_draft)
    documents.register("receipt", receipt_paper)


def written_in(paper: Estimate | Invoice) -> str:
    """The locale that a paper was written in: whenever it is made, its words and dates are those."""
    return str(paper.shop.get("locale", Locale.US))


def draft_version(job: Job) -> int:
    """A number that changes whenever a draft of the job's papers would: each state is printed once."""
    used = jobs_queries.used([line for row in job.operations.all() for line in row.lines.all()])
    billed = sorted(queries.billed_operations(job))
    money = (accounts.deposit_of(job), accounts.advanced(job))
    drawn = sorted(used.items())
    state = repr((charges.operation_charges(job), drawn, billed, money, timezone.localdate(), job.version))
    return zlib.crc32(state.encode()) & 0x7FFFFFFF


def qr_of(text: str) -> dict[str, bytes]:
    """The QR code of a number, for whoever scans the paper back in."""
    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="svg", border=0, xmldecl=False, dark="#1c1f1c")
    return {LABEL_OF_QR: out.getvalue()}


def page_class(size: str) -> str:
    """The class of the body that chooses the sheet's size."""
    return "a4" if size == "A4" else "letter"


# The estimate


def estimate_paper(pk: int) -> Printable:
    """An estimate's revision as it was frozen."""
    estimate = queries.estimates().get(pk=pk)
    earlier = estimate.job.estimates.filter(revision=estimate.revision - 1).first()
    zone = str(estimate.shop["time_zone"])
    taxes = charges.sealed_taxes(estimate)
    consent = consents.as_written(estimate)
    context = {
        "title": f"Estimate {estimate.label}",
        "number": estimate.label,
        "draft": False,
        "page": page_class(estimate.shop["page_size"]),
        "garage": estimate.shop,
        "person": estimate.person.data,
        "vehicle": vehicle_of(estimate),
        "facts": list(
            filter(
                None,
                [
                    f"job {estimate.job.number}",
                    f"written {said_moment(estimate.written_at, zone)}",
                    f"by {estimate.written_by}" if estimate.written_by else "",
                ],
            )
        ),
        "labor_rate": in_currency(Decimal(str(estimate.shop["labor_rate"])), estimate.currency),
        "valid_until": dates.day(estimate.valid_until),
        "promised": said_promise(estimate.promised_at, zone),
        "concern": estimate.concern,
        "changes": estimate.changes.splitlines(),
        "changes_since": earlier.label if earlier else "",
        "operations": from_paper(list(estimate.operations.all()), against_consent(estimate, consent), consent),
        "to_mark": estimate.operations.count() > 1,
        "sums": {**paper_sums(estimate, taxes), "if_needed": if_needed_text(charges.as_offered(estimate))},
        "authorized_before": authorized_before(estimate),
        "exemption": estimate.exemption,
        "parts_wish": estimate.parts_wish,
        "order_number": estimate.order_number,
    }
    return Printable("documents/estimate.html", context, qr_of(estimate.label))


def authorized_before(estimate: Estimate) -> str:
    """What the customer had authorized when a revision was written, as it was read out; empty for a first one."""
    record = queries.authorizations(estimate.job).filter(chain_seq=estimate.consent_seq).first()
    if record is None or not record.limit:
        return ""
    net, gross = (in_currency(figure or Decimal(0), estimate.currency) for figure in (record.limit, record.limit_gross))
    when = proven_moment(record.at, record.zone)
    return f"Authorized before this revision, {when}: {net} before tax, {gross} with tax."


def estimate_draft(pk: int) -> Printable:
    """A job's sheet as it stands, marked as a draft: no offer, nothing to sign."""
    job = jobs_queries.sheets().get(pk=pk)
    profile = shop.profile()
    offered = charges.operation_charges(job)
    totals = charges.job_totals(job, shop.day_of(timezone.now()))
    context = {
        **draft_context(job, profile, f"Draft estimate, job {job.number}"),
        "labor_rate": in_currency(profile.labor_rate, profile.currency),
        "promised": said_promise(job.promised_at, profile.time_zone),
        "operations": from_charges(offered),
        "sums": {**sums_text(totals, profile.currency), "if_needed": if_needed_text(offered)},
    }
    return Printable("documents/estimate.html", context, qr_of(f"job {job.number}"))


def if_needed_text(offered: Iterable[OperationCharges]) -> str:
    """What of an estimate's total is only if needed, before tax; empty where nothing is."""
    needs = only_if_needed(counted(offered))
    return amount(sum((row.net for row in needs), Decimal(0))) if needs else ""


def draft_context(job: Job, profile: ShopProfile, title: str) -> dict[str, Any]:
    """What both drafts print of a job that nothing was frozen of yet."""
    first = job.customer.phones.first()
    vehicle = freezing.vehicle_on_paper(job.vehicle)
    return {
        "title": title,
        "number": str(job.number),
        "draft": True,
        "page": page_class(profile.page_size),
        "garage": freezing.shop_on_paper(profile),
        "person": {
            "name": job.customer.name,
            "address": job.customer.address,
            "phone": first.number if first else "",
        },
        "vehicle": {
            "text": vehicle["vehicle_text"],
            "plate": vehicle["plate"],
            "vin": vehicle["vin"],
            "odometer": odometer_text(
                freezing.odometer_on_paper(job.odometer_in), freezing.odometer_on_paper(job.odometer_out)
            ),
        },
        "facts": [said_moment(timezone.now(), profile.time_zone)],
        "concern": job.concern,
        "parts_wish": freezing.PARTS_WISH[job.parts_wish],
        "order_number": job.order_number,
    }


# The invoice and the credit note


def invoice_paper(pk: int) -> Printable:
    """An issued invoice or credit note."""
    invoice = queries.whole_invoices().get(pk=pk)
    taxes = list(invoice.taxes.all())
    context = {
        "title": invoice.title,
        "number": invoice.label,
        "draft": False,
        "credit": invoice.kind == Invoice.Kind.CREDIT_NOTE,
        "page": page_class(invoice.shop["page_size"]),
        "garage": invoice.shop,
        "person": invoice.person.data,
        "vehicle": vehicle_of(invoice),
        "facts": invoice_facts(invoice),
        "due": dates.day(invoice.due_on),
        "corrects": invoice.corrects.label if invoice.corrects else "",
        "corrects_day": dates.day(invoice.corrects.issued_on) if invoice.corrects else "",
        "reason": invoice.notices.get("reason", ""),
        "advance_for": invoice.notices.get("estimate", ""),
        "for_deposit": invoice.for_deposit,
        "concern": invoice.notices.get("concern", ""),
        "operations": from_paper(list(invoice.operations.all())),
        "sums": paper_sums(invoice, taxes),
        **deposit_sums(accounts.applied_at_issue(invoice), invoice.gross, invoice.currency),
        "paid": paid_text(invoice),
        "exemption": invoice.exemption,
        "order_number": invoice.order_number,
        "authorizations": [authorization_text(row) for row in authorizations_of(invoice)],
        "notices": invoice.notices,
        "told": invoice.told,
    }
    return Printable("documents/invoice.html", context, qr_of(invoice.label))


def invoice_facts(invoice: Invoice) -> list[str]:
    """The line under the title."""
    facts = [str(invoice.job).lower() if invoice.job else "", f"issued {dates.day(invoice.issued_on)}"]
    if invoice.kind == Invoice.Kind.INVOICE and not paid_text(invoice):
        facts.append(f"due {dates.day(invoice.due_on)}")
    return list(filter(None, facts))


def paid_text(invoice: Invoice) -> str:
    """That a counter sale was paid at once, and how; empty for all that is owed until a day."""
    payment = accounts.paid_at_issue(invoice) if invoice.consent == Invoice.Consent.SALE else None
    return f"Paid in full: {payment.get_method_display()}, {dates.day(payment.paid_on)}." if payment else ""


def invoice_draft(pk: int) -> Printable:
    """The invoice of a job as it would be, marked as a draft."""
    job = jobs_queries.sheets().get(pk=pk)
    made, profile = drafts.draft(job, shop.day_of(timezone.now())), shop.profile()
    sums = drafts.less_advances(made, drafts.sums_of(made))
    context = {
        **draft_context(job, profile, f"Draft invoice, job {job.number}"),
        "operations": from_charges([*made.operations, *made.taken_off]),
        "sums": sums_text(sums, profile.currency),
        **deposit_sums(min(accounts.deposit_of(job), sums.gross), sums.gross, profile.currency),
        "notices": {"tax_changes": tax_changes(job, made.charges, made.on), "not_done": not_done_on(job)},
        "authorizations": [authorization_text(row) for row in queries.authorizations(job)],
    }
    return Printable("documents/invoice.html", context, qr_of(f"job {job.number}"))


def authorizations_of(invoice: Invoice) -> Iterable[Authorization]:
    """The authorizations that an invoice prints, oldest first; who gave them stands in side rows."""
    rows = queries.authorizations(invoice.job) if invoice.job else Authorization.objects.none()
    return rows.filter(pk__in=invoice.notices.get("authorizations", []))


def authorization_text(row: Authorization) -> dict[str, str]:
    """One authorization as the law wants it repeated: date, time, name, number, what it added, the revised total."""
    decided = list(row.operations.all())
    said = [
        f"{operation.estimate_operation.title} {spoken(operation.net)}"
        for operation in decided
        if operation.decision == "authorized"
    ]
    against = [operation.estimate_operation.title for operation in decided if operation.decision != "authorized"]
    name = str(row.person.data.get("name", "name erased"))
    contact = str(row.person.data.get("contact", ""))
    who = name if row.capacity == Authorization.Capacity.CUSTOMER else f"{name}, designated by the customer"
    how = f"{row.get_channel_display()}{f' {contact}' if contact else ''}"
    return {
        "when": proven_moment(row.at, row.zone),
        "who": who,
        "how": how,
        "taken_by": str(row.taken_by) if row.taken_by else "",
        "estimate": row.estimate.label,
        "authorized": "; ".join(said),
        "declined": "; ".join(against),
        "added": f"{'+' if row.added > 0 else ''}{spoken(row.added)}",
        "total": spoken(row.limit),
        "total_with_tax": spoken(row.limit_gross),
    }


def deposit_sums(applied: Decimal, gross: Decimal, currency: str) -> dict[str, str]:
    """The deposit taken off a paper's total, and what is left to pay; nothing where none was applied."""
    if not applied:
        return {}
    return {"deposit": amount(-applied), "left": in_currency(gross - applied, currency)}


# The receipt


def receipt_paper(pk: int) -> Printable:
    """The receipt of a payment, deposit or refund: what changed hands, when, how, for what, and what is still owed."""
    payment = queries.payments().get(pk=pk)
    profile, zone = shop.profile(), shop.profile().time_zone
    number = f"Receipt {payment.chain_seq}"
    context = {
        "title": number,
        "number": number,
        "draft": False,
        "page": page_class(profile.page_size),
        "garage": freezing.shop_on_paper(profile),
        "person": payment.person.data,
        "facts": [f"recorded {said_moment(payment.at, zone)}", *([f"by {payment.by}"] if payment.by else [])],
        "refund": payment.is_refund,
        "amount": in_currency(abs(payment.amount), payment.currency),
        "currency": payment.currency,
        "day": dates.day(payment.paid_on),
        "method": payment.get_method_display(),
        "reference": payment.reference,
        "reason": payment.reason,
        "rows": [receipt_row(payment, part) for part in payment.parts.all()],
    }
    return Printable("documents/receipt.html", context, qr_of(number))


def receipt_row(payment: Payment, part: PaymentPart) -> dict[str, str]:
    """One line of a receipt: what the money was for, how much of it, and how that stands afterwards."""
    if part.invoice is not None:
        what, after = _on_invoice(payment, part.invoice)
    elif part.job is not None:
        what, after = f"Deposit on job {part.job.number}", DEPOSIT_AFTER
    else:
        what, after = "Credit on your account", ""
    after = "" if payment.is_refund else after
    return {"what": what.rstrip(", "), "after": after, "amount": amount(abs(part.amount))}


def _on_invoice(payment: Payment, invoice: Invoice) -> tuple[str, str]:
    """A paid invoice by its number, or the deposit that an advance invoice is for; and how it stands afterwards."""
    number = f"No. {invoice.label} of {dates.day(invoice.issued_on)}, {invoice.vehicle_text}"
    if invoice.kind == Invoice.Kind.ADVANCE and invoice.job is not None:
        number = f"Deposit on job {invoice.job.number}, {number}"
    left = accounts.owed_after(invoice, payment)
    if left > 0:
        return number, f"{in_currency(left, invoice.currency)} still owed"
    if invoice.kind == Invoice.Kind.ADVANCE:
        return number, DEPOSIT_AFTER
    return number, f"paid in full on {dates.day(payment.paid_on)}"


# What they share


def vehicle_of(paper: Estimate | Invoice) -> dict[str, str]:
    """The car as a paper prints it."""
    if isinstance(paper, Estimate):
        odometer = odometer_text(paper.odometer_text, "")
    else:
        odometer = odometer_text(paper.odometer_in, paper.odometer_out)
    return {"text": paper.vehicle_text, "plate": paper.plate, "vin": paper.vin, "odometer": odometer}


def odometer_text(came: str, left: str) -> str:
    """The odometer in and out: 88,410 mi in · 88,414 mi out."""
    return " · ".join(filter(None, [f"{came} in" if came else "", f"{left} out" if left else ""]))


def paper_sums(paper: Estimate | Invoice, taxes: Iterable[TaxSum | InvoiceTax]) -> dict[str, Any]:
    """The sums of a frozen paper, written out; those of a deposit are not split into labor and parts."""
    sums = _sums(paper.net, taxes, paper.gross, paper.currency)
    if isinstance(paper, Invoice) and paper.for_deposit:
        return sums
    return sums | _kinds(paper.labor_net, paper.parts_net, paper.charges_net, paper.advanced_net)


def sums_text(sums: Sums, currency: str) -> dict[str, Any]:
    """The sums of a draft, written out."""
    kinds = _kinds(sums.labor, sums.parts, sums.charges, sums.advanced)
    return _sums(sums.net, sums.taxes, sums.gross, currency) | kinds


def _sums(net: Decimal, taxes: Iterable[TaxSum | InvoiceTax], gross: Decimal, currency: str) -> dict[str, Any]:
    return {
        "net": amount(net),
        "taxes": [tax_text(row) for row in taxes],
        "gross": in_currency(gross, currency),
        "currency": currency,
    }


def _kinds(labor: Decimal, parts: Decimal, other: Decimal, advanced: Decimal) -> dict[str, str]:
    return {
        "labor": amount(labor),
        "parts": amount(parts),
        "other": amount(other) if other else "",
        "advanced": amount(advanced) if advanced else "",
    }


def tax_text(row: TaxSum | InvoiceTax) -> dict[str, str]:
    """A tax as printed: Sales tax 7.25% on 197.44, 14.31; VAT exempt on 40.00, 0.00, with the reason."""
    advance = row.advance_id if isinstance(row, InvoiceTax) else row.advance
    off = ", in advance" if advance else ""
    reason = f" ({row.reason})" if row.reason else ""
    return {"label": f"{row.label} {rate_text(row)} on {amount(row.base)}{off}{reason}", "tax": amount(row.tax)}


def rate_text(row: TaxSum | InvoiceTax) -> str:
    """The rate of a tax row, or how what is on it stands to the tax."""
    if row.treatment == Treatment.TAXED:
        return f"{plain_text(row.rate * 100)}%"
    return Treatment(row.treatment).label
