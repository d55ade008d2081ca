"""The books' forms; what may not be is said by the verbs, beside the field."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.http import QueryDict
from django.utils import timezone

from garage.forms import KeyForm, MoneyFormField, QuantityFormField
from garage.forms_fields import DayField, PlainDecimalField
from garage.models import TaxClass
from invoicing.actions.authorizations import allowed_after, sums_with_tax
from invoicing.comparing import amount
from invoicing.crediting import Left, left_on
from invoicing.leaving import LeftOut
from invoicing.models import Authorization, Estimate, Invoice, Payment
from jobs.forms import MomentField
from jobs.models import Job, Operation, SkippedAnswer
from jobs.skipped import Asked, mark_of

Channel = Authorization.Channel
CHANNELS = [(Channel.IN_PERSON, "in person"), (Channel.PHONE, "by telephone"), (Channel.EMAIL, "by email")]
OPEN = "open"
DECISIONS = [("authorized", "authorized"), ("declined", "declined"), (OPEN, "not decided yet")]
WISHES = Job._meta.get_field("parts_wish").choices or ()
UNIT_WORDS = {"h": "Hours", "L": "Liters", "each": "Pieces"}


class MailForm(forms.Form):
    """Where a paper shall be mailed."""

    to = forms.EmailField(label="To", max_length=254)


class AuthorizeForm(KeyForm):
    """What the customer said about an estimate: on each operation, who, how, when, and up to what amount."""

    person_name = forms.ChoiceField(label="Given by")
    channel = forms.ChoiceField(label="How", choices=CHANNELS, initial=Channel.PHONE)
    contact = forms.CharField(
        label="Number or address used",
        max_length=120,
        required=False,
        help_text="Needed for a call or a mail.",
    )
    at = MomentField(label="When")
    parts_wish = forms.ChoiceField(label="Replaced parts", choices=WISHES, required=False)
    limit = MoneyFormField(
        label="Up to, before tax",
        minimum=Decimal(0),
        error_messages={"required": "Write the amount that was agreed to; for an addition the revised total."},
    )

    def __init__(self, data: Any, *, estimate: Estimate, job: Job, suggested: Decimal | None) -> None:
        super().__init__(data)
        self.estimate, self.job, self.suggested = estimate, job, suggested
        self.decided = {row.pk: row.decision for row in job.operations.all()}
        customer = job.customer
        names = [customer.name, customer.contact, *(row.name for row in customer.designated.all())]
        self.known("person_name").choices = [(name, name) for name in dict.fromkeys(filter(None, names))]
        phones = customer.phones.all()
        self.fields["contact"].initial = phones[0].number if phones else ""
        self.fields["at"].initial = timezone.localtime().replace(second=0, microsecond=0)
        self.fields["limit"].initial = suggested
        self.fields["parts_wish"].initial = job.parts_wish
        for row in estimate.operations.all():
            standing = self.decided.get(row.operation_id or 0)
            if standing == Operation.Decision.UNDECIDED:
                counted = "authorized" if row.counted else OPEN
                self.fields[f"decision_{row.operation_id}"] = forms.ChoiceField(
                    label=row.title, choices=DECISIONS, initial=counted, widget=forms.RadioSelect
                )
                self.fields[f"reason_{row.operation_id}"] = forms.CharField(
                    label="Declined, in the customer’s words", max_length=200, required=False
                )

    def known(self, name: str) -> forms.ChoiceField:
        """A choice field by its name."""
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        return field

    def rows(self) -> list[tuple[Any, forms.BoundField | None, forms.BoundField | None]]:
        """Each operation of the estimate with its two fields; without them when it was decided before."""
        return [
            (row, self[f"decision_{key}"], self[f"reason_{key}"])
            if f"decision_{key}" in self.fields
            else (row, None, None)
            for row in self.estimate.operations.all()
            for key in [row.operation_id]
        ]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors and self.adds():
            self._hold_to_what_is_authorized(cleaned["limit"])
        return cleaned

    def _hold_to_what_is_authorized(self, limit: Decimal) -> None:
        """Refuse the amount offered for everything when less of it is authorized, and one too low to bill the work."""
        sums = sums_with_tax(self.estimate, self.job, allowed_after(self.estimate, self.job, self.decisions()))
        said = f"What is authorized comes to {amount(sums.net)} before tax, {amount(sums.gross)} with tax"
        if limit < sums.net:
            lower = "for a lower price, change the sheet and write a revised estimate"
            self.add_error("limit", f"{said}: {lower}.")
        elif limit == self.suggested != sums.net:
            self.add_error("limit", f"That was the amount for everything offered. {said}: say both, then record it.")
            data = cast(QueryDict, self.data).copy()
            data["limit"] = str(sums.net)
            self.data = data

    def decisions(self) -> dict[int, tuple[str, str]]:
        """The decision on each operation that is decided now, and the customer’s word."""
        given = self.cleaned_data
        return {
            int(name.removeprefix("decision_")): (value, given[name.replace("decision_", "reason_")])
            for name, value in given.items()
            if name.startswith("decision_") and value != OPEN
        }

    def adds(self) -> bool:
        """Whether anything is authorized now, so that an amount is agreed to."""
        return any(decision == Operation.Decision.AUTHORIZED for decision, _word in self.decisions().values())

    def values(self) -> dict[str, Any]:
        """What the verb takes; no amount where everything is declined, whatever stood in its field."""
        names = ("key", "person_name", "channel", "contact", "at", "parts_wish")
        given = {name: self.cleaned_data[name] for name in names}
        limit = self.cleaned_data["limit"] if self.adds() else None
        return {"decisions": self.decisions(), "limit": limit, **given}


class IssueForm(KeyForm):
    """When an invoice is due, where it shall be mailed, and a tick for each finished work that it leaves out."""

    due_on = DayField(label="Due on")
    mail_to = forms.EmailField(label="Mail it to", required=False, help_text="Empty: it is not mailed.")

    def __init__(self, data: Any = None, *, left_out: Sequence[LeftOut] = (), **more: Any) -> None:
        super().__init__(data, **more)
        self.left_out = left_out
        for row in left_out:
            self.fields[f"leave_{row.operation}"] = forms.BooleanField(
                label=f"Leave “{row.title}” off this invoice", required=False
            )

    def ticks(self) -> list[tuple[LeftOut, forms.BoundField]]:
        """What is left out, with its tick."""
        return [(row, self[f"leave_{row.operation}"]) for row in self.left_out]

    def values(self) -> dict[str, Any]:
        """What the verb takes."""
        given = {name: self.cleaned_data[name] for name in ("key", "due_on", "mail_to")}
        ticked = [row.operation for row in self.left_out if self.cleaned_data[f"leave_{row.operation}"]]
        return {**given, "leaving_out": ticked}


#: How work done in part can be billed, in the words of the counter.
HOW_BILLED = [
    (SkippedAnswer.Choice.DONE, "Bill it as written: it was done another way"),
    (SkippedAnswer.Choice.LESS, "Bill less: lower its hours or quantities on the job next"),
    (SkippedAnswer.Choice.NONE, "Do not bill it"),
]


class SkippedForm(forms.Form):
    """How work of which steps were skipped is billed, and what was done; nothing is chosen beforehand."""

    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    choice = forms.ChoiceField(
        label="How is it billed?",
        choices=HOW_BILLED,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose how it is billed."},
    )
    words = forms.CharField(
        label="What was done instead, or why",
        max_length=500,
        widget=forms.Textarea({"rows": 2}),
        help_text="The customer reads it on the invoice.",
        error_messages={"required": "Write what was done instead, or why."},
    )

    def __init__(self, data: Any = None, *, asked: Asked) -> None:
        initial = {"seen": mark_of(asked.operation)}
        super().__init__(data, initial=initial, auto_id=f"id_{asked.operation.pk}_%s")
        self.asked = asked


class PaymentForm(KeyForm):
    """Money received."""

    amount = MoneyFormField(label="Amount")
    method = forms.ChoiceField(label="Paid by", choices=Payment.Method.choices, initial=Payment.Method.CARD)
    reference = forms.CharField(
        label="Reference", max_length=80, required=False, help_text="Such as the number of the check."
    )


class GiveBackForm(PaymentForm):
    """Money given back."""

    reason = forms.CharField(label="Why", max_length=200)


class ReasonForm(KeyForm):
    """Why something is taken back."""

    reason = forms.CharField(label="Why", max_length=200, help_text="Such as: the check bounced.")


class CreditForm(KeyForm):
    """Which quantities of an invoice are taken back, why, and whether the job is billed again."""

    reason = forms.CharField(label="Why", max_length=200, help_text="Stands on the credit note.")
    bill_again = forms.BooleanField(
        label="If everything is credited, the job will be invoiced again", required=False, initial=True
    )
    mail_to = forms.EmailField(label="Mail it to", required=False, help_text="Empty: it is not mailed.")

    def __init__(self, data: Any, *, invoice: Invoice) -> None:
        super().__init__(data)
        self.left = left_on(invoice)
        self.lines = [line for operation in invoice.operations.all() for line in operation.lines.all()]
        for line in self.lines:
            if self.left[line.pk].quantity > 0:
                self.fields[f"line_{line.pk}"] = QuantityFormField(
                    label=UNIT_WORDS[line.unit],
                    base=line.unit,
                    whole=line.kind == "part",
                    allow_zero=True,
                    initial=self.left[line.pk].quantity,
                )

    def rows(self) -> list[tuple[Any, Left, forms.BoundField]]:
        """Each line of which something is left, with its field."""
        return [
            (line, self.left[line.pk], self[f"line_{line.pk}"])
            for line in self.lines
            if f"line_{line.pk}" in self.fields
        ]

    def quantities(self) -> dict[int, Decimal]:
        """The quantities to credit by the line's primary key."""
        given = {
            int(name.removeprefix("line_")): value.value
            for name, value in self.cleaned_data.items()
            if name.startswith("line_") and value is not None
        }
        return {key: quantity for key, quantity in given.items() if quantity}


class TaxRateForm(forms.Form):
    """A tax on a class from a day on, typed in percent."""

    tax_class = forms.ChoiceField(
        label="On", choices=[choice for choice in TaxClass.choices if choice[0] != TaxClass.NONE]
    )
    label = forms.CharField(label="Name on the invoice", max_length=60, help_text="Such as: Sales tax.")
    percent = PlainDecimalField(
        label="Percent", max_places=7, minimum=Decimal(0), help_text="7.25; 0 for what is not taxed."
    )
    valid_from = DayField(label="From")

    def values(self) -> dict[str, Any]:
        """What the verb takes."""
        given = self.cleaned_data
        names = ("tax_class", "label", "valid_from")
        return {"rate": given["percent"] / 100, **{name: given[name] for name in names}}


class EndRateForm(forms.Form):
    """The last day of a tax."""

    last_day = DayField(label="Last day")


class InvoiceFilter(forms.Form):
    """Which invoices are listed."""

    q = forms.CharField(required=False)
    kind = forms.ChoiceField(
        required=False, choices=[("", "all"), ("owed", "owed"), ("overdue", "overdue"), ("credit", "credit notes")]
    )


def first_email(job: Job) -> str:
    """Where the job's customer gets mail; empty when nowhere."""
    emails = job.customer.emails.all()
    return emails[0].address if emails else ""
