"""The mails that carry papers: whom they may go to, and what they say."""

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from garage import shop
from garage.errors import Refused
from garage.money import in_currency
from invoicing.models import Estimate, Invoice, Payment

ESTIMATE_TEXT = """Dear {customer},

the estimate {number} for your {vehicle} is attached. It comes to {total} and holds until {until}.
We do nothing before you say yes, and nothing beyond it without asking you: answer this mail or call us.

{garage}"""
CREDIT_TEXT = """Dear {customer},

the credit memo {number} is attached. It corrects the invoice {corrects} and comes to {total}.

{garage}"""

RECEIPT_TEXT = """Hello {customer},

attached is the receipt for {amount} {what} on {day}. Thank you.

{garage}"""


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
    garage = shop.profile().name
    values = {
        "customer": str(estimate.person.data.get("name", "")),
        "number": estimate.label,
        "vehicle": estimate.vehicle_text.partition(",")[0] or "car",
        "total": in_currency(estimate.gross, estimate.currency),
        "until": shop.day_words(estimate.valid_until),
        "garage": garage,
    }
    return f"Estimate {estimate.label} from {garage}", fill(ESTIMATE_TEXT, values)


def invoice_letter(invoice: Invoice) -> tuple[str, str]:
    """Subject and text of the mail with an invoice or a credit note; the garage writes the invoice's itself."""
    profile = shop.profile()
    values = {
        "customer": str(invoice.person.data.get("name", "")),
        "number": invoice.label,
        "vehicle": invoice.vehicle_text.partition(",")[0] or "car",
        "garage": profile.name,
        "total": in_currency(invoice.gross, invoice.currency),
        "due": shop.day_words(invoice.due_on),
        "corrects": invoice.corrects.label if invoice.corrects else "",
    }
    text = CREDIT_TEXT if invoice.kind == Invoice.Kind.CREDIT_NOTE else profile.mail_text
    return f"{invoice.title} from {profile.name}", fill(text, values)


def receipt_letter(payment: Payment) -> tuple[str, str]:
    """Subject and text of the mail with a receipt."""
    profile = shop.profile()
    values = {
        "customer": payment.person.data.get("name", ""),
        "amount": in_currency(abs(payment.amount), payment.currency),
        "what": "refunded" if payment.is_refund else "received",
        "day": shop.day_words(payment.paid_on),
        "garage": profile.name,
    }
    return f"Receipt {payment.chain_seq} from {profile.name}", fill(RECEIPT_TEXT, values)
