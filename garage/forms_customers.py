"""The form of a customer: one sheet with several phones, emails and persons who may authorize work."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict

from garage import queries, search
from garage.actions.customers import FIELDS
from garage.asking import AskingForm
from garage.forms import FieldsForm
from garage.forms_fields import DayField, needed
from garage.models import Customer
from garage.rows import BaseRows, Lenient, Row, rearranged, rows_of


class CustomerForm(Lenient, AskingForm, FieldsForm):
    """What a customer has one of."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    class Meta:
        model = Customer
        fields = FIELDS
        error_messages = {"kind": needed("Choose person or company."), "name": needed("Write the customer’s name.")}
        field_classes = {"exemption_until": DayField}
        widgets = {
            "address": forms.Textarea({"rows": 3, "autocomplete": "off"}),
            "notes": forms.Textarea({"rows": 3}),
        }

    def ask_about_twin(self, phones: Iterable[str]) -> None:
        """Ask once about somebody of this name and number who is in the book; a valid form only."""
        if "name" in self.changed_data or not self.instance.pk:
            question = queries.twice(self.cleaned_data["name"], phones, but=self.instance if self.instance.pk else None)
            if question and question not in self.questions:
                self.ask(question)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("tax_exempt") and not cleaned.get("exemption_certificate"):
            self.add_error("exemption_certificate", "An exemption needs the number of its certificate.")
        return cleaned


class PhoneRow(Row):
    number = forms.CharField(
        label="Phone",
        max_length=40,
        widget=forms.TextInput({"type": "tel"}),
        error_messages=needed("Write the phone number."),
    )
    label = forms.CharField(label="Which", max_length=40, required=False)

    def clean_number(self) -> str:
        number: str = self.cleaned_data["number"]
        if len(search.digits(number)) < 3:
            raise ValidationError("A phone number has at least three digits.")
        return number


class EmailRow(Row):
    address = forms.EmailField(label="Email", error_messages=needed("Write the email address."))
    label = forms.CharField(label="Which", max_length=40, required=False)


class DesignatedRow(Row):
    name = forms.CharField(label="Name", max_length=120, error_messages=needed("Write their name."))
    contact = forms.CharField(label="Phone or email", max_length=120, required=False)


class CustomerSheet:
    """The forms of one customer together."""

    def __init__(
        self, data: QueryDict | None, customer: Customer | None, initial: Mapping[str, Any] | None = None
    ) -> None:
        changed = rearranged(data) if data else None
        self.rearranging = changed is not None
        data = changed or data
        start: Mapping[str, Any] = {"version": customer.version} if customer else initial or {}
        self.form = CustomerForm(data, instance=customer, initial=dict(start))
        self.phones = rows_of(PhoneRow)(
            data, prefix="phones", initial=_initial(customer.phones.all() if customer else (), "number", "label")
        )
        self.emails = rows_of(EmailRow)(
            data, prefix="emails", initial=_initial(customer.emails.all() if customer else (), "address", "label")
        )
        self.designated = rows_of(DesignatedRow)(
            data,
            prefix="designated",
            initial=_initial(customer.designated.all() if customer else (), "name", "contact"),
        )
        if self.rearranging:
            self.form.judged = False
            for rows in self.row_sets:
                rows.spare(data.get("rows", "") if data else "")

    @property
    def row_sets(self) -> tuple[BaseRows, BaseRows, BaseRows]:
        return self.phones, self.emails, self.designated

    def __iter__(self) -> Iterator[forms.BaseForm]:
        """Every form, for the summary of errors."""
        yield self.form
        for rows in self.row_sets:
            yield from rows.forms

    def is_valid(self) -> bool:
        """Whether the sheet may be saved: every form is judged, so that all errors show at once."""
        if not all([self.form.is_valid(), *(rows.is_valid() for rows in self.row_sets)]):
            return False
        self.form.ask_about_twin(number for number, _label in self.phones.pairs())
        return self.form.is_valid()

    def values(self) -> dict[str, Any]:
        """What `save_customer` takes."""
        fields = dict(self.form.cleaned_data)
        return {
            "version": fields.pop("version", None),
            "fields": fields,
            "phones": self.phones.pairs(),
            "emails": self.emails.pairs(),
            "designated": self.designated.pairs(),
        }


def _initial(rows: Iterable[Any], *names: str) -> list[dict[str, Any]]:
    return [{name: getattr(row, name) for name in names} for row in rows]
