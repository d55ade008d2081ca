"""The books' forms; what may not be is said by the verbs, beside the field."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from garage.forms import KeyForm, MoneyFormField, QuantityFormField
from garage.forms_fields import DayField, PlainDecimalField, needed
from garage.models import Customer, TaxClass
from garage.units import label as label_of
from invoicing.actions.returning import out_of_shelf
from invoicing.crediting import Left, cores_out, left_on, lines_of, off_lines
from invoicing.models import (
    Authorization,
    Estimate,
    EstimateOperation,
    Invoice,
    InvoiceLine,
    Tax,
    Treatment,
)
from jobs.amounts import base_unit, charged_quantity
from jobs.consent import AUTHORIZED, DECLINED, UNDECIDED, WITHDRAWN, Consent, Standing
from jobs.consent_words import all_beyond
from jobs.forms import MomentField
from jobs.models import Finer, Job, LineKind

Channel = Authorization.Channel
CHANNELS = [
    (Channel.IN_PERSON, "in person"),
    (Channel.PHONE, "by telephone"),
    (Channel.TEXT, "by text message"),
    (Channel.EMAIL, "by email"),
]
OPEN = "open"
NOT_YET = (OPEN, "not decided yet")
WISHES = Job._meta.get_field("parts_wish").choices or ()
UNIT_WORDS = {"h": "Hours", "each": "Pieces"}


class MailForm(forms.Form):
    """Where a paper shall be mailed."""

    to = forms.EmailField(label="To", max_length=254, error_messages=needed("Write the email address."))


class AuthorizeForm(KeyForm):
    """What the customer said about an estimate: on each operation, who, how, when, and up to what amount.

    It names the estimate and its seal, and the last record that it shows. Nothing that becomes evidence is filled in
    beforehand.
    """

    estimate_key = forms.IntegerField(widget=forms.HiddenInput)
    seal = forms.CharField(widget=forms.HiddenInput, max_length=64)
    after_record = forms.IntegerField(widget=forms.HiddenInput, min_value=0)
    person_name = forms.CharField(
        label="Given by", max_length=120, error_messages=needed("Write who gave the authorization.")
    )
    channel = forms.ChoiceField(
        label="How",
        choices=[("", "—"), *CHANNELS],
        error_messages=needed("Choose how the authorization was given."),
    )
    contact = forms.CharField(
        label="Number or address used",
        max_length=120,
        required=False,
        help_text="Needed for a call, a text message or an email.",
    )
    at = MomentField(label="When", error_messages=needed("Write when it was given."))
    parts_wish = forms.ChoiceField(label="Replaced parts", choices=WISHES, required=False)
    limit = MoneyFormField(label="Up to, before tax", required=False)

    def __init__(
        self, data: Any, *, estimate: Estimate, job: Job, consent: Consent, initial: dict[str, Any] | None = None
    ) -> None:
        super().__init__(data)
        self.estimate, self.job, self.consent = estimate, job, consent
        self.fields["estimate_key"].initial, self.fields["seal"].initial = estimate.pk, estimate.content_sha256
        self.fields["after_record"].initial = consent.seq
        customer = job.customer
        self.names = list(dict.fromkeys(name for row in (customer, customer.today) for name in _speakers(row)))
        self.is_company = customer.kind == Customer.Kind.COMPANY
        if not self.is_company:
            self.fields["person_name"] = forms.ChoiceField(
                label="Given by",
                choices=[("", "—"), *((name, name) for name in self.names)],
                error_messages=needed("Choose who gave the authorization."),
            )
        self.fields["at"].initial = timezone.localtime().replace(second=0, microsecond=0)
        self.fields["parts_wish"].initial = job.parts_wish
        for row in estimate.operations.all():
            self._add_decision(row, consent.of(row.operation_id))
        for name, value in (initial or {}).items():
            self.fields[name].initial = value

    def _add_decision(self, row: EstimateOperation, standing: Standing) -> None:
        """The fields for an operation that is to be decided, or whose yes may be taken back."""
        key = row.operation_id
        if key not in self.consent.operations and not self.data.get(f"decision_{key}"):
            return
        choices = self._choices(standing)
        sent = self.data.get(f"decision_{key}", "")
        if sent and sent not in dict(choices):  # a second tap, after the first one was recorded
            choices.append((sent, sent))
        if not choices:
            return
        self.fields[f"decision_{key}"] = forms.ChoiceField(
            label=row.title,
            choices=choices,
            widget=forms.RadioSelect,
            required=standing.asks,
            error_messages={"required": f"“{row.title}”: choose what the customer said, or “not decided yet”."},
        )
        self.fields[f"reason_{key}"] = forms.CharField(
            label="A no, in the customer’s words", max_length=200, required=False
        )

    def _choices(self, standing: Standing) -> list[tuple[str, str]]:
        """What can be said about an operation now."""
        if standing.state == AUTHORIZED and standing.asks:
            addition = [
                (AUTHORIZED, "authorized with the change"),
                (DECLINED, "change declined, the earlier authorization stays"),
            ]
            return [*addition, (WITHDRAWN, "no longer wanted at all"), NOT_YET]
        if standing.state == AUTHORIZED:
            return [(WITHDRAWN, "no longer wanted"), (OPEN, "stays authorized")]
        if standing.state == UNDECIDED:
            return [(AUTHORIZED, "authorized"), (DECLINED, "declined"), NOT_YET]
        return []

    def rows(self) -> list[tuple[Any, Standing, str, forms.BoundField | None, forms.BoundField | None]]:
        """Each operation of the estimate: how it stands, what goes beyond its yes, and its two fields; without them
        when it is settled."""
        return [
            (row, standing, all_beyond(standing), self[f"decision_{key}"], self[f"reason_{key}"])
            if f"decision_{key}" in self.fields
            else (row, standing, all_beyond(standing), None, None)
            for row in self.estimate.operations.all()
            for key, standing in [(row.operation_id, self.consent.of(row.operation_id))]
        ]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors and self.adds() and cleaned.get("limit") is None:
            self.add_error("limit", "Write the amount that was agreed to; for an addition the revised total.")
        return cleaned

    def decisions(self) -> dict[int, tuple[str, str]]:
        """The decision on each operation that is decided now, and the customer’s words."""
        given = self.cleaned_data
        return {
            int(name.removeprefix("decision_")): (value, given[name.replace("decision_", "reason_")])
            for name, value in given.items()
            if name.startswith("decision_") and value not in (OPEN, "")
        }

    def adds(self) -> bool:
        """Whether anything is authorized now, so that an amount is agreed to."""
        return any(decision == AUTHORIZED for decision, _words in self.decisions().values())

    def values(self) -> dict[str, Any]:
        """What the verb takes; no amount where nothing is authorized, whatever stood in its field."""
        names = ("key", "seal", "after_record", "person_name", "channel", "contact", "at", "parts_wish")
        given = {name: self.cleaned_data[name] for name in names}
        limit = self.cleaned_data["limit"] if self.adds() else None
        return {"decisions": self.decisions(), "limit": limit, **given}

    def who_and_how(self) -> dict[str, str]:
        """What was typed about the person and the call: it holds for another revision too, the decisions do not."""
        names = ("person_name", "channel", "contact", "at", "parts_wish")
        return {name: self.data[name] for name in names if self.data.get(name)}

    def typed(self) -> dict[str, str]:
        """All that was typed and marked so far, for the same form again."""
        return {name: self.data[name] for name in self.fields if name in self.data and name != "key"}


def _speakers(customer: Customer) -> list[str]:
    """Who may speak for a customer, as far as the book knows: they, or of a company its contact, and the designated."""
    own = [customer.contact] if customer.kind == Customer.Kind.COMPANY else [customer.name, customer.contact]
    return [name for name in (*own, *(row.name for row in customer.designated.all())) if name]


class ClockReasonField(forms.CharField):
    """Why a paper bears a day that was asked about; only the owner sees it, and only then."""

    def __init__(self, **kwargs: Any) -> None:
        words = "Kept with the book; it covers what follows until the clock has passed that day."
        given = {"label": "Why this date is right", "max_length": 300, "required": False, "help_text": words}
        super().__init__(**{**given, **kwargs})


class CreditForm(KeyForm):
    """Which quantities of an invoice are taken back, why, and whether the job is billed again."""

    reason = forms.CharField(
        label="Why", max_length=200, help_text=_("Printed on the credit memo."), error_messages=needed("Write why.")
    )
    bill_again = forms.BooleanField(
        label="If everything is credited, the job will be invoiced again", required=False, initial=True
    )
    mail_to = forms.EmailField(label="Mail it to", required=False, help_text="Empty: it is not mailed.")
    clock_reason = ClockReasonField()

    def __init__(self, data: Any, *, invoice: Invoice, core: int | None = None) -> None:
        """`core` is the key of a core's line that was handed in: then that line alone is filled in."""
        super().__init__(data)
        self.left = left_on(invoice)
        self.lines = lines_of(invoice)
        cores, shelf = cores_out(invoice, self.left), out_of_shelf(self.lines)
        self.whole_only = invoice.kind == Invoice.Kind.ADVANCE
        self.anything_left = any(row.quantity for row in self.left.values())
        self.taken_off = off_lines(invoice)
        if self.whole_only or invoice.consent == Invoice.Consent.SALE:
            del self.fields["bill_again"]  # what is returned over the counter is sold again
        if self.whole_only:
            return
        if core in cores:
            self.fields["reason"].initial = "Core returned"
        for line in self.lines:
            left = cores.get(line.pk, abs(self.left[line.pk].quantity))
            if not self.left[line.pk].quantity or line.pk in self.taken_off:
                continue
            self.fields[f"line_{line.pk}"] = _billed_field(line, left if core in (None, line.pk) else Decimal(0))
            if shelf.get(line.line_id or 0):
                self.fields[f"return_{line.pk}"] = _billed_field(line, None)

    def rows(self) -> list[tuple[Any, Left, forms.BoundField, forms.BoundField | None]]:
        """Each line of which something is left, with its field, and the one for what goes back to the shelf."""
        return [
            (
                line,
                self.left[line.pk],
                self[f"line_{line.pk}"],
                self[f"return_{line.pk}"] if f"return_{line.pk}" in self.fields else None,
            )
            for line in self.lines
            if f"line_{line.pk}" in self.fields
        ]

    def values(self) -> dict[str, Any]:
        """What the verb takes; an advance invoice is credited whole."""
        names = ("key", "reason", "bill_again", "mail_to", "clock_reason")
        given = {name: self.cleaned_data[name] for name in names if name in self.fields}
        lines = None if self.whole_only else self.quantities()
        return {**given, "lines": lines, "returns": self.quantities("return_")}

    def quantities(self, prefix: str = "line_") -> dict[int, Decimal]:
        """The quantities to credit (or with `return_`, to bring back) by the line's key, in the unit billed."""
        units_of = {line.pk: line.unit for line in self.lines}
        given = {
            int(name.removeprefix(prefix)): value
            for name, value in self.cleaned_data.items()
            if name.startswith(prefix) and value is not None
        }
        return {
            key: charged_quantity(value.value, base_unit(units_of[key]), units_of[key])
            for key, value in given.items()
            if value.value
        }


def _billed_field(line: InvoiceLine, initial: Decimal | None) -> QuantityFormField:
    """A quantity in the unit a line was billed in; nothing of it is a zero."""
    return QuantityFormField(
        label=UNIT_WORDS.get(line.unit) or label_of(line.unit),
        base=base_unit(line.unit),
        default_unit=line.unit,
        allow_zero=True,
        whole=line.kind == LineKind.PART or line.finer == Finer.CORE,
        required=initial is not None,
        initial=initial,
    )


TAXED_CLASSES = [choice for choice in TaxClass.choices if choice[0] != TaxClass.NONE]


class TaxRateForm(forms.Form):
    """A tax on some classes from a day on, typed in percent."""

    tax = forms.ChoiceField(label="Tax", required=False)
    name = forms.CharField(
        label="Name on the invoice", max_length=60, required=False, help_text="Of a new tax, such as: State sales tax."
    )
    classes = forms.MultipleChoiceField(
        label="Applies to",
        choices=TAXED_CLASSES,
        widget=forms.CheckboxSelectMultiple,
        error_messages=needed("Mark at least one class that this applies to."),
    )
    treatment = forms.ChoiceField(
        label="How",
        choices=Treatment.choices,
        initial=Treatment.TAXED,
        error_messages=needed("Choose how it is taxed."),
    )
    rate = PlainDecimalField(
        label="Percent", max_places=7, minimum=Decimal(0), required=False, help_text="7.25; empty where it has none."
    )
    reason = forms.CharField(
        label="Reason", max_length=120, required=False, help_text="Of a zero-rated or exempt class, as it is printed."
    )
    valid_from = DayField(label="From", error_messages=needed("Write the first day it holds."))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        tax = self.fields["tax"]
        assert isinstance(tax, forms.ChoiceField)
        tax.choices = [("", "A new tax"), *((str(row.pk), row.name) for row in Tax.objects.all())]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("tax") and cleaned.get("name"):
            self.add_error("name", "Leave this empty for a tax that exists: rename it in the list above.")
        return cleaned

    def values(self) -> dict[str, Any]:
        """What the verb takes."""
        given = self.cleaned_data
        known = Tax.objects.filter(pk=given["tax"] or 0).first()
        names = ("classes", "treatment", "reason", "valid_from")
        return {
            "name": known.name if known else given["name"],
            "rate": (given["rate"] or Decimal(0)) / 100,
            **{name: given[name] for name in names},
        }


class EndRateForm(forms.Form):
    """The last day of a tax, on the classes it is on."""

    classes = forms.MultipleChoiceField(
        label="Applies to",
        widget=forms.CheckboxSelectMultiple,
        error_messages=needed("Mark at least one class on which it ends."),
    )
    last_day = DayField(label="Last day", error_messages=needed("Write the last day it holds."))

    def __init__(self, *args: Any, classes: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["classes"]
        assert isinstance(field, forms.MultipleChoiceField)
        field.choices = classes
        field.initial = [value for value, _label in classes]


class TaxNameForm(forms.Form):
    """Another name of a tax."""

    name = forms.CharField(
        label="Name on the invoice",
        max_length=60,
        help_text="Papers already written keep the name they were written with.",
        error_messages=needed("Write the name that is printed on the invoice."),
    )


class InvoiceFilter(forms.Form):
    """Which invoices are listed."""

    q = forms.CharField(required=False)
    kind = forms.ChoiceField(
        required=False,
        choices=[
            ("", "all"),
            ("owed", "owed"),
            ("overdue", "overdue"),
            ("sale", "counter sales"),
            ("credit", _("credit memos")),
        ],
    )


def first_email(job: Job) -> str:
    """Where the job's customer gets mail; empty when nowhere."""
    emails = job.customer.today.emails.all()
    return emails[0].address if emails else ""
