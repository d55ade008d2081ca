"""The one thing that is done next about the money of an invoice, for every list of them."""

from django.urls import reverse
from django.utils.translation import gettext as _

from garage.access import may
from garage.models import User
from garage.pressing import Act
from invoicing.models import Receivable


def money_act(owed: Receivable | None, user: User) -> Act | None:
    """Take what is owed, give back what is overpaid; None where nothing is, and for those who take no money."""
    if owed is None or not owed.balance or not may(user, "invoicing"):
        return None
    label, page = (_("Record payment"), "payment-add") if owed.balance > 0 else (_("Refund"), "invoice-refund")
    return Act(label, href=reverse(f"invoicing:{page}", args=[owed.invoice_id]))
