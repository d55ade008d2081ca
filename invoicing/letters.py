"""The mails that carry papers: whom they may go to, and what they say."""

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from garage import dates, shop
from garage.errors import Refused
from garage.money import in_currency
from invoicing.models import Estimate, Invoice, Payment, Receivable

ESTIMATE_TEXT = gettext_lazy("""Hello {customer},

attached is estimate {number} for your {vehicle}: {total}, good until {until}.
We start only after you authorize it, and ask before any change. {reach}

{garage}""")
CREDIT_TEXT = gettext_lazy("""Hello {customer},

attached is credit memo {number} for invoice {corrects}: {total}.

{garage}""")
RECEIPT_TEXT = gettext_lazy("""Hello {customer},

attached is the receipt for {amount} {what} on {day}. Thank you.

{garage}""")


def checked_address(to: str) -> str:
    """An email address that can be written to; Refused with a sentence when it cannot."""
    to = to.strip()
    try:
        validate_email(to)
    except ValidationError:
        raise Refused("Write the email address it shall go to, such as name@example.com.", "to") from None
    return to


def fill(text: str, values: dict[str, str]) -> str:
    """Put values in the place of their {names}; anything else in braces stays as it is."""
    for name, value in values.items():
        text = text.replace("{" + name + "}", value)
    return text


def estimate_letter(estimate: Estimate) -> tuple[str, str]:
    """Subject and text of the mail with an estimate."""
    profile = shop.profile()
    garage = profile.name
    values = {
        "customer": str(estimate.person.data.get("name", "")),
        "number": estimate.label,
        "vehicle": estimate.vehicle_text.partition(",")[0] or "vehicle",
        "total": in_currency(estimate.gross, estimate.currency),
        "until": dates.day(estimate.valid_until),
        "reach": f"Reply or call us at {profile.phone}." if profile.phone else "Reply to this mail.",
        "garage": garage,
    }
    return f"Estimate {estimate.label} from {garage}", fill(str(ESTIMATE_TEXT), values)


def invoice_letter(invoice: Invoice) -> tuple[str, str]:
    """Subject and text of the mail with an invoice or a credit note; the garage writes the invoice's itself."""
    profile = shop.profile()
    values = {
        "customer": str(invoice.person.data.get("name", "")),
        "number": invoice.label,
        "vehicle": invoice.vehicle_text.partition(",")[0] or "vehicle",
        "garage": profile.name,
        "phone": profile.phone,
        "total": in_currency(invoice.gross, invoice.currency),
        "due": dates.day(invoice.due_on),
        "payable": payable(invoice),
        "corrects": invoice.corrects.label if invoice.corrects else "",
    }
    text = str(CREDIT_TEXT) if invoice.kind == Invoice.Kind.CREDIT_NOTE else profile.mail_text
    return f"{invoice.title} from {profile.name}", fill(text, values)


def payable(invoice: Invoice) -> str:
    """What is still to be paid of an invoice when its mail is written: all of it, what a deposit left, or nothing."""
    receivable = Receivable.objects.filter(invoice=invoice).first()  # the row at hand may be from before a payment
    balance, due = receivable.balance if receivable else invoice.gross, dates.day(invoice.due_on)
    if balance <= 0:
        return _("paid")
    if balance < invoice.gross:
        return _("%(balance)s left to pay, due %(due)s") % {
            "balance": in_currency(balance, invoice.currency),
            "due": due,
        }
    return _("due %(due)s") % {"due": due}


def receipt_letter(payment: Payment) -> tuple[str, str]:
    """Subject and text of the mail with a receipt."""
    profile = shop.profile()
    values = {
        "customer": payment.person.data.get("name", ""),
        "amount": in_currency(abs(payment.amount), payment.currency),
        "what": "refunded" if payment.is_refund else "received",
        "day": dates.day(payment.paid_on),
        "garage": profile.name,
    }
    return f"Receipt {payment.chain_seq} from {profile.name}", fill(str(RECEIPT_TEXT), values)
