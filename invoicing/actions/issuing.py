"""What an invoice and a credit note share on their way into the book: number, rows, seal, PDF, mail."""

import datetime as dt
from collections.abc import Mapping, Sequence
from decimal import Decimal

from garage import counters, documents, search, shop
from garage.actions import clock_notes
from garage.clock import Clock, fixed
from garage.ledger import append, put_aside
from garage.models import Document, OutgoingMail, User
from garage.writing import writing
from invoicing import dating, freezing, letters
from invoicing.actions.mailing import send
from invoicing.models import Invoice, InvoiceLine, InvoiceOperation, InvoiceTax, Receivable
from invoicing.sums import Sums
from jobs import stages
from jobs.actions.stages import move
from jobs.models import Job


def numbered(now: dt.datetime, *, clock: Clock, clock_reason: str, actor: User | None) -> Invoice:
    """A new paper with the next number of its year, which locks the series until the transaction ends.

    Raises Refused (field `clock_reason`) where the day is to be asked about first and the owner has not said why.
    """
    clock_notes.answer(dating.open_doubts(clock, now), reason=clock_reason, actor=actor, now=now)
    today = shop.day_of(now)
    series = dating.series_of(today)
    number = counters.allocate(series)
    return Invoice(
        series=series, number=number, label=f"{today.year}-{number:04d}", issued_at=now, issued_on=today, due_on=today
    )


def fill(invoice: Invoice, job: Job, sums: Sums, *, actor: User | None, now: dt.datetime) -> None:
    """Copy onto a new paper what every paper of a job prints: who and what it is for, the shop, what it comes to."""
    profile = shop.profile()
    invoice.job, invoice.customer, invoice.issued_by = job, job.customer, actor
    invoice.person = freezing.person_on_paper(job.customer, now)
    invoice.person_seal = invoice.person.seal()
    invoice.shop, invoice.currency = freezing.shop_on_paper(profile), profile.currency
    invoice.order_number = job.order_number
    invoice.consent = Invoice.Consent.SALE if job.is_sale else Invoice.Consent.AUTHORIZATION
    invoice.exemption = freezing.exemption_on_paper(job.customer, job.customer.exempt_on(invoice.issued_on))
    copy(invoice, {**freezing.vehicle_on_paper(job.vehicle), **freezing.sums_on_paper(sums)})


def copy(invoice: Invoice, values: Mapping[str, object]) -> None:
    """Set the columns of a new paper, and what stands beside it, by their names."""
    for name, value in values.items():
        setattr(invoice, name, value)


def write(
    invoice: Invoice,
    operations: Sequence[InvoiceOperation],
    lines: Sequence[InvoiceLine],
    taxes: Sequence[InvoiceTax],
) -> None:
    """Seal a paper over its rows, append it to the chain, and store the rows."""
    put_aside([*operations, *lines], now=invoice.issued_at)
    billed = [(row, [line for line in lines if line.invoice_operation is row]) for row in operations]
    invoice.content_sha256 = freezing.invoice_seal(billed, taxes)
    append(invoice)
    for operation in operations:
        operation.save(force_insert=True)
    InvoiceLine.objects.bulk_create(lines)
    InvoiceTax.objects.bulk_create(taxes)


def tax_rows(invoice: Invoice, sums: Sums) -> list[InvoiceTax]:
    """The taxes of a paper as rows."""
    return [
        InvoiceTax(
            invoice=invoice,
            of_tax_id=row.tax_key,
            advance_id=row.advance,
            tax_classes=" ".join(row.classes),
            label=row.label,
            treatment=row.treatment,
            reason=row.reason,
            rate=row.rate,
            base=row.base,
            tax=row.tax,
        )
        for row in sums.taxes
    ]


def wanted_paper(invoice: Invoice, now: dt.datetime) -> Document:
    """Ask for the PDF; it is made once."""
    return documents.want("invoice", invoice.pk, name=f"{invoice.title}.pdf", clock=fixed(now))


def announce(invoice: Invoice, *, mail_to: str, actor: User | None, now: dt.datetime) -> None:
    """Let a new paper be found, ask for its PDF, and put its mail into the outbox when an address is given."""
    make_findable(invoice)
    wanted_paper(invoice, now)
    if mail_to.strip():
        mail_invoice(invoice=invoice, to=mail_to, actor=actor, clock=fixed(now))


def make_findable(invoice: Invoice) -> None:
    """Let a paper be found by its number, customer, plate and job."""
    words = [invoice.label, invoice.customer.name, invoice.plate, invoice.order_number, *search.vin_words(invoice.vin)]
    words.append(str(invoice.job.number) if invoice.job else "")
    subtitle = [invoice.customer.name, invoice.vehicle_text.partition(",")[0], invoice.plate]
    search.put("invoice", invoice, title=invoice.title, subtitle=" · ".join(filter(None, subtitle)), words=words)


@writing()
def mail_invoice(*, invoice: Invoice, to: str, actor: User | None, clock: Clock) -> OutgoingMail:
    """Put an invoice or credit note with its PDF into the outbox; the same address again gives the mail that is there.

    Raises Refused for an address that cannot be written to.
    """
    now = clock()
    letter, name = letters.invoice_letter(invoice), str(invoice.person.data.get("name", ""))
    return send("invoice", invoice, to, letter, [wanted_paper(invoice, now)], actor, now, name=name)


def owe(invoice: Invoice, change: Decimal, *, actor: User | None, now: dt.datetime) -> Receivable:
    """Change what is owed on an invoice, and bring its job to the stage that fits."""
    receivable = Receivable.objects.get(invoice=invoice)  # read under the pen: nobody else writes meanwhile
    receivable.balance += change
    receivable.save(update_fields=["balance"])
    settle_job(invoice.job, actor=actor, now=now)
    return receivable


def settle_job(job: Job | None, *, actor: User | None, now: dt.datetime) -> None:
    """Close the job when nothing is owed on it any more, by any of its invoices; open it again when something is."""
    if job is None:
        return
    job.refresh_from_db(fields=["stage"])
    owed = Receivable.objects.filter(invoice__job=job, balance__gt=0).exists()
    if job.stage == stages.INVOICED and not owed:
        move(job, stages.CLOSED, actor=actor, clock=fixed(now))
    elif job.stage == stages.CLOSED and owed:
        move(job, stages.INVOICED, actor=actor, clock=fixed(now))
