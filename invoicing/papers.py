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

from garage import documents, shop
from garage.documents import Printable
from garage.forms_fields import plain_text
from garage.models import ShopProfile
from garage.money import in_currency
from invoicing import accounts, charges, drafts, freezing, queries
from invoicing.comparing import amount
from invoicing.freezing import said_moment, said_promise
from invoicing.models import Authorization, Estimate, Invoice, InvoiceTax, Payment, PaymentPart, Treatment
from invoicing.showing import from_charges, from_paper
from invoicing.sums import Sums, TaxSum
from invoicing.tax_changes import tax_changes
from jobs import queries as jobs_queries
from jobs.models import Job

LABEL_OF_QR = "qr.svg"


def register() -> None:
    """Tell the worker how each kind of paper is built."""
    documents.register("estimate", estimate_paper)
    documents.register("estimate-draft", estimate_draft)
    documents.register("invoice", invoice_paper)
    documents.register("invoice-draft", invoice_draft)
    documents.register("receipt", receipt_paper)


def draft_version(job: Job) -> int:
    """A number that changes whenever a draft of the job's papers would: each state is printed once."""
    used = jobs_queries.used([line for row in job.operations.all() for line in row.lines.all()])
    billed = sorted(queries.billed_operations(job))
    state = repr((charges.operation_charges(job), sorted(used.items()), billed, timezone.localdate(), job.version))
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
        "valid_until": shop.day_words(estimate.valid_until),
        "promised": said_promise(estimate.promised_at, zone),
        "concern": estimate.concern,
        "changes": estimate.changes.splitlines(),
        "changes_since": earlier.label if earlier else "",
        "operations": from_paper(list(estimate.operations.all())),
        "to_mark": estimate.operations.count() > 1,
        "sums": paper_sums(estimate, taxes),
        "exemption": estimate.exemption,
        "parts_wish": estimate.parts_wish,
        "order_number": estimate.order_number,
    }
    return Printable("documents/estimate.html", context, qr_of(estimate.label))


def estimate_draft(pk: int) -> Printable:
    """A job's sheet as it stands, marked as a draft: no offer, nothing to sign."""
    job = jobs_queries.sheets().get(pk=pk)
    profile = shop.profile()
    offered = charges.operation_charges(job)
    context = {
        **draft_context(job, profile, f"Draft estimate, job {job.number}"),
        "promised": said_promise(job.promised_at, profile.time_zone),
        "operations": from_charges(offered),
        "sums": sums_text(charges.job_totals(job, shop.day_of(timezone.now())), profile.currency),
    }
    return Printable("documents/estimate.html", context, qr_of(f"job {job.number}"))


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
        "due": shop.day_words(invoice.due_on),
        "corrects": invoice.corrects.label if invoice.corrects else "",
        "corrects_day": shop.day_words(invoice.corrects.issued_on) if invoice.corrects else "",
        "reason": invoice.notices.get("reason", ""),
        "concern": invoice.notices.get("concern", ""),
        "operations": from_paper(list(invoice.operations.all())),
        "sums": paper_sums(invoice, taxes),
        **deposit_sums(accounts.applied_at_issue(invoice), invoice.gross),
        "exemption": invoice.exemption,
        "order_number": invoice.order_number,
        "authorizations": [authorization_text(row) for row in authorizations_of(invoice)],
        "notices": invoice.notices,
        "told": invoice.told,
    }
    return Printable("documents/invoice.html", context, qr_of(invoice.label))


def invoice_facts(invoice: Invoice) -> list[str]:
    """The line under the title."""
    facts = [f"job {invoice.job.number}" if invoice.job else "", f"issued {shop.day_words(invoice.issued_on)}"]
    if invoice.kind == Invoice.Kind.INVOICE:
        facts.append(f"due {shop.day_words(invoice.due_on)}")
    return list(filter(None, facts))


def invoice_draft(pk: int) -> Printable:
    """The invoice of a job as it would be, marked as a draft."""
    job = jobs_queries.sheets().get(pk=pk)
    made, profile = drafts.draft(job, shop.day_of(timezone.now())), shop.profile()
    sums = drafts.sums_of(made)
    context = {
        **draft_context(job, profile, f"Draft invoice, job {job.number}"),
        "operations": from_charges(made.operations),
        "sums": sums_text(sums, profile.currency),
        **deposit_sums(min(accounts.deposit_of(job), sums.gross), sums.gross),
        "notices": {"tax_changes": tax_changes(job, made.charges, made.on)},
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
        f"{operation.estimate_operation.title} {amount(operation.net)}"
        for operation in decided
        if operation.decision == "authorized"
    ]
    against = [operation.estimate_operation.title for operation in decided if operation.decision != "authorized"]
    name = str(row.person.data.get("name", "name erased"))
    contact = str(row.person.data.get("contact", ""))
    who = name if row.capacity == Authorization.Capacity.CUSTOMER else f"{name}, designated by the customer"
    how = f"{row.get_channel_display()}{f' {contact}' if contact else ''}"
    return {
        "when": said_moment(row.at, row.zone),
        "who": who,
        "how": how,
        "taken_by": str(row.taken_by) if row.taken_by else "",
        "estimate": row.estimate.label,
        "authorized": "; ".join(said),
        "declined": "; ".join(against),
        "added": f"{'+' if row.added > 0 else ''}{amount(row.added)}",
        "total": amount(row.limit),
        "total_with_tax": amount(row.limit_gross),
    }


def deposit_sums(applied: Decimal, gross: Decimal) -> dict[str, str]:
    """The deposit taken off a paper's total, and what is left to pay; nothing where none was applied."""
    if not applied:
        return {}
    return {"deposit": amount(-applied), "left": amount(gross - applied)}


# The receipt


def receipt_paper(pk: int) -> Printable:
    """The receipt of a payment, deposit or refund: what changed hands, when, how, for what, and what is still owed."""
    payment = queries.payments().get(pk=pk)
    profile, zone = shop.profile(), shop.profile().time_zone
    number = f"Receipt {payment.chain_seq}"
    phone = payment.customer.phones.first()
    context = {
        "title": number,
        "number": number,
        "draft": False,
        "page": page_class(profile.page_size),
        "garage": freezing.shop_on_paper(profile),
        "person": {
            "name": payment.customer.name,
            "address": payment.customer.address,
            "phone": phone.number if phone else "",
        },
        "facts": [f"recorded {said_moment(payment.at, zone)}", *([f"by {payment.by}"] if payment.by else [])],
        "refund": payment.is_refund,
        "amount": amount(abs(payment.amount)),
        "currency": profile.currency,
        "day": shop.day_words(payment.paid_on),
        "method": payment.get_method_display(),
        "reference": payment.reference,
        "reason": payment.reason,
        "rows": [receipt_row(payment, part) for part in payment.parts.all()],
    }
    return Printable("documents/receipt.html", context, qr_of(number))


def receipt_row(payment: Payment, part: PaymentPart) -> dict[str, str]:
    """One line of a receipt: what the money was for, how much of it, and how that stands afterwards."""
    if part.invoice is not None:
        left = accounts.owed_after(part.invoice, payment)
        after = f"{amount(left)} still owed" if left > 0 else f"paid in full on {shop.day_words(payment.paid_on)}"
        what = f"No. {part.invoice.label} of {shop.day_words(part.invoice.issued_on)}, {part.invoice.vehicle_text}"
        after = "" if payment.is_refund else after
    elif part.job is not None:
        what = f"Deposit on job {part.job.number}"
        after = "" if payment.is_refund else "taken off the total when the work is billed"
    else:
        what, after = "Credit on your account", ""
    return {"what": what.rstrip(", "), "after": after, "amount": amount(abs(part.amount))}


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
    """The sums of a frozen paper, written out."""
    return {
        "labor": amount(paper.labor_net),
        "parts": amount(paper.parts_net),
        "other": amount(paper.other_net) if paper.other_net else "",
        "net": amount(paper.net),
        "taxes": [tax_text(row) for row in taxes],
        "gross": in_currency(paper.gross, paper.currency),
        "currency": paper.currency,
    }


def sums_text(sums: Sums, currency: str) -> dict[str, Any]:
    """The sums of a draft, written out."""
    return {
        "labor": amount(sums.labor),
        "parts": amount(sums.parts),
        "other": amount(sums.other) if sums.other else "",
        "net": amount(sums.net),
        "taxes": [tax_text(row) for row in sums.taxes],
        "gross": in_currency(sums.gross, currency),
        "currency": currency,
    }


def tax_text(row: TaxSum | InvoiceTax) -> dict[str, str]:
    """A tax as printed: Sales tax 7.25 % on 197.44, 14.31; VAT exempt on 40.00, 0.00, with the reason."""
    reason = f" ({row.reason})" if row.reason else ""
    return {"label": f"{row.label} {rate_text(row)} on {amount(row.base)}{reason}", "tax": amount(row.tax)}


def rate_text(row: TaxSum | InvoiceTax) -> str:
    """The rate of a tax row, or how what is on it stands to the tax."""
    if row.treatment == Treatment.TAXED:
        return f"{plain_text(row.rate * 100)} %"
    return Treatment(row.treatment).label
