"""Forms of money: received, refunded, reversed, moved. What may not be is said by the verbs, beside the field."""

import datetime as dt
from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from garage import dates
from garage.asking import AskingForm
from garage.forms import KeyForm, MoneyFormField
from garage.forms_fields import DayField, needed
from garage.money import spoken
from invoicing.accounts import ZERO
from invoicing.forms import ClockReasonField
from invoicing.models import Payment

LONG_AGO = dt.timedelta(days=60)
METHODS = [("", "Choose"), *Payment.Method.choices]


class PaymentForm(AskingForm, KeyForm):
    """Money received: how much, how, on which day. `owed` is what is owed, where it is paid on an invoice."""

    amount = MoneyFormField(label="Amount", error_messages=needed("Write the amount."))
    method = forms.ChoiceField(
        label="Paid by",
        choices=METHODS,
        error_messages=needed("Choose how it was paid: cash, card, transfer or check."),
    )
    paid_on = DayField(label="Paid on", required=False, help_text="Empty: today.")
    reference = forms.CharField(
        label="Reference", max_length=80, required=False, help_text=_("Such as the number of the check.")
    )

    def __init__(self, *args: Any, owed: Decimal | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.owed = owed
        self.fields["paid_on"].initial = timezone.localdate()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        self._ask_about_the_day(cleaned.get("paid_on"))
        if self.above:
            self.ask(f"{spoken(self.above)} more than is owed: it stays as credit on the account.")
        return cleaned

    def _ask_about_the_day(self, day: dt.date | None) -> None:
        if day is not None and timezone.localdate() - day > LONG_AGO:
            self.ask(f"{dates.day(day)} is long ago: was it paid on that day?")

    @property
    def above(self) -> Decimal:
        """How much of the amount is more than is owed."""
        given: Decimal | None = self.cleaned_data.get("amount")
        if self.owed is None or given is None:
            return ZERO
        return max(ZERO, given - max(ZERO, self.owed))

    def values(self) -> dict[str, Any]:
        """What the verb takes."""
        names = ("key", "amount", "method", "paid_on", "reference")
        credit = {} if self.owed is None else {"credit": self.above}
        return {**{name: self.cleaned_data[name] for name in names}, **credit}


class DepositForm(PaymentForm):
    """A deposit on a job; where deposits are taxed it bears a number and a day of the invoices' series."""

    clock_reason = ClockReasonField()

    def values(self) -> dict[str, Any]:
        return {**super().values(), "clock_reason": self.cleaned_data["clock_reason"]}


class RefundForm(PaymentForm):
    """Money given back, the way it was paid unless another is chosen."""

    reason = forms.CharField(label="Why", max_length=200, error_messages=needed("Write why it is refunded."))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["method"].label, self.fields["paid_on"].label = "Refunded by", "Refunded on"

    def values(self) -> dict[str, Any]:
        return {**super().values(), "reason": self.cleaned_data["reason"]}


class ReverseForm(AskingForm, KeyForm):
    """Why and on which day a payment is reversed."""

    reason = forms.CharField(
        label="Why",
        max_length=200,
        help_text="Such as: the check bounced.",
        error_messages=needed("Write why it is reversed, such as: the check bounced."),
    )
    paid_on = DayField(label="Reversed on", required=False, help_text="Empty: today.")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["paid_on"].initial = timezone.localdate()

    def values(self) -> dict[str, Any]:
        """What the verb takes."""
        return dict(self.cleaned_data)


class MoveForm(KeyForm):
    """How much is moved from one place to another."""

    amount = MoneyFormField(label="Amount", error_messages=needed("Write the amount."))

    def values(self) -> dict[str, Any]:
        """What the verb takes."""
        return dict(self.cleaned_data)


class ReceiptMailForm(forms.Form):
    """Where a receipt is mailed, and whether the invoices it paid go with it."""

    to = forms.EmailField(label="To", max_length=254, error_messages=needed("Write the email address."))
    with_invoice = forms.BooleanField(label="Attach the invoice too", required=False)
