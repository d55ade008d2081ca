"""Mailing receipts: of a payment, a deposit or a refund, with the invoices it paid where they are wanted too."""

from garage.clock import Clock
from garage.errors import Refused
from garage.models import OutgoingMail, User
from garage.writing import writing
from invoicing import letters
from invoicing.actions.issuing import wanted_paper
from invoicing.actions.mailing import send
from invoicing.actions.payments import wanted_receipt
from invoicing.models import Payment


@writing()
def mail_receipt(
    *, payment: Payment, to: str, with_invoice: bool = False, actor: User | None, clock: Clock
) -> OutgoingMail:
    """Put a receipt with its PDF into the outbox; the same address again gives the mail that is there.

    `with_invoice` attaches the invoices that the payment went to. Raises Refused for an address that cannot be
    written to, and for a reversal, which has no receipt.
    """
    now = clock()
    if payment.reverses_id is not None:
        raise Refused("A reversed payment has no receipt of its own.")
    papers = [wanted_receipt(payment, now)]
    if with_invoice:
        parts = payment.parts.filter(invoice__isnull=False).select_related("invoice")
        papers += [wanted_paper(part.invoice, now) for part in parts if part.invoice]
    letter, name = letters.receipt_letter(payment), str(payment.person.data.get("name", ""))
    return send("receipt", payment, to, letter, papers, actor, now, name=name)
