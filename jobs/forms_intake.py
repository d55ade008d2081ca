"""The intake sheet: customer, vehicle, odometer and concern in one form that loses nothing."""

from collections.abc import Iterable, Iterator
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.forms.utils import ErrorDict
from django.http import QueryDict
from django.utils import timezone
from django.utils.datastructures import MultiValueDict

from garage import queries as kernel
from garage import search
from garage.asking import Asked, AskingForm
from garage.errors import Refused
from garage.forms import KeyForm
from garage.forms_customers import CustomerForm
from garage.forms_fields import WholeNumberField, needed
from garage.forms_vehicles import CHOOSE_UNIT, VehicleForm
from garage.models import Customer, DistanceUnit, OdometerReading, Vehicle
from garage.web import key_in, refuse
from jobs.actions.intake import NewCustomer, NewVehicle, Odometer
from jobs.forms import WORDS, MomentField, PhotosField

NONE = "none"


class PickForm(KeyForm):
    """Who and what of the book: a known customer, a known vehicle."""

    find = forms.CharField(label="Find the customer", max_length=120, required=False)
    customer = forms.CharField(required=False)
    vehicle = forms.CharField(required=False)
    theirs_now = forms.BooleanField(label="The car belongs to this customer now", required=False)


class ContactForm(forms.Form):
    """How a new customer is reached."""

    phone = forms.CharField(label="Phone", max_length=40, required=False, widget=forms.TextInput({"type": "tel"}))
    other_phone = forms.CharField(
        label="Other phone", max_length=40, required=False, widget=forms.TextInput({"type": "tel"})
    )
    email = forms.EmailField(label="Email", required=False)

    def clean_phone(self) -> str:
        return _dialable(self.cleaned_data["phone"])

    def clean_other_phone(self) -> str:
        return _dialable(self.cleaned_data["other_phone"])

    def phones(self) -> list[tuple[str, str]]:
        """The numbers given, as `save_customer` takes them."""
        return [(self.cleaned_data[name], "") for name in ("phone", "other_phone") if self.cleaned_data[name]]

    def emails(self) -> list[tuple[str, str]]:
        """The address given, as `save_customer` takes it."""
        return [(self.cleaned_data["email"], "")] if self.cleaned_data["email"] else []


def _dialable(number: str) -> str:
    if number and len(search.digits(number)) < 3:
        raise forms.ValidationError("A phone number has at least three digits.")
    return number


class VisitForm(AskingForm, forms.Form):
    """What brings the car here, and how it was left."""

    reading = WholeNumberField(label="Odometer", required=False)
    unit = forms.ChoiceField(label="Unit", choices=DistanceUnit.choices, error_messages=needed(CHOOSE_UNIT))
    lower_reason = forms.ChoiceField(
        label="Why it shows less", choices=OdometerReading.LowerReason.choices, required=False
    )
    before = WholeNumberField(label="It showed before", required=False)
    concern = forms.CharField(
        label="Concern",
        help_text="In the customer’s own words.",
        widget=forms.Textarea({"rows": 3}),
        error_messages=needed("Write what brings the customer here."),
    )
    drop_off_notes = forms.CharField(label="Already scratched or broken", required=False, widget=forms.Textarea(WORDS))
    key_tag = forms.CharField(label="Key tag", max_length=20, required=False)
    parked = forms.CharField(label="Parked at", max_length=60, required=False)
    promised_at = MomentField(label="Promised for", required=False)
    photos = PhotosField(label="Photos at drop-off")

    @property
    def asks_why(self) -> bool:
        """Whether the odometer has turned out to be lower than an earlier reading."""
        return self.is_bound and bool(self.data.get("lower_reason") or {"reading", "before"} & self.errors.keys())

    def odometer(self) -> Odometer | None:
        """The reading, when there is one."""
        data = self.cleaned_data
        if data["reading"] is None:
            return None
        return Odometer(data["reading"], data["unit"], data["lower_reason"], data["before"])


class IntakeSheet:
    """The forms of one intake together. Whom and what was picked from the book needs no second writing down."""

    def __init__(
        self,
        data: QueryDict | None = None,
        files: "MultiValueDict[str, UploadedFile] | None" = None,
        *,
        start: dict[str, Any] | None = None,
    ) -> None:
        start = start or {}
        self.pick = PickForm(data, initial=start)
        self.customer = CustomerForm(data, prefix="c", initial=start.get("new_customer", {}))
        self.contact = ContactForm(data, initial=start.get("contact", {}))
        self.vehicle = VehicleForm(data, prefix="v", initial=start.get("new_vehicle", {}))
        self.visit = VisitForm(data, files, initial=start)
        self.chosen_vehicle = self._row(Vehicle, "vehicle")
        self.chosen_customer = self._row(Customer, "customer")
        if self.chosen_customer is None and not self._typed("customer") and self.chosen_vehicle is not None:
            self.chosen_customer = self.chosen_vehicle.owner
        counting = list(self.judged())
        self._spare(form for form in self._all() if form not in counting)

    def _all(self) -> list[forms.BaseForm]:
        return [self.pick, self.customer, self.contact, self.vehicle, self.visit]

    def spare(self) -> None:
        """Show what was typed without judging it: somebody is only being looked up."""
        self._spare(self._all())

    @property
    def only_looking(self) -> bool:
        """Whether nothing but a search was typed: Enter then looks somebody up instead of opening a job."""
        named = self._typed("customer") or self._typed("vehicle") or self.customer["name"].value()
        return bool(self._typed("find")) and not named

    def suggest(self, found: list[Customer]) -> None:
        """Pick the one customer found, and the one car they have; the other choices stay a click away."""
        if self.chosen_customer is None and len(found) == 1 and not self._typed("customer"):
            self.chosen_customer = found[0]
        cars = list(self.chosen_customer.cars) if self.chosen_customer is not None else []
        if self.chosen_vehicle is None and len(cars) == 1 and not self._typed("vehicle"):
            self.chosen_vehicle = cars[0]

    @staticmethod
    def _spare(unjudged: Iterable[forms.BaseForm]) -> None:
        for form in unjudged:
            form._errors = ErrorDict()  # type: ignore[attr-defined]

    def _typed(self, name: str) -> str:
        return str(self.pick[name].value() or "")

    def _row(self, model: type[Any], name: str) -> Any:
        key = key_in(self._typed(name))
        if key is None:
            return None
        rows = kernel.customers_with_contact() if model is Customer else kernel.vehicles_with_history()
        return rows.filter(pk=key).first()

    @property
    def no_vehicle(self) -> bool:
        """Whether nothing on wheels came in: a part on the bench."""
        return self._typed("vehicle") == NONE

    def judged(self) -> Iterator[forms.BaseForm]:
        """The forms that count, given what was picked."""
        yield self.pick
        if self.chosen_customer is None:
            yield from (self.customer, self.contact)
        if self.chosen_vehicle is None and not self.no_vehicle:
            yield self.vehicle
        yield self.visit

    def is_valid(self) -> bool:
        """Whether the sheet may be saved; every form that counts is judged, so that all errors show at once."""
        verdicts = [form.is_valid() for form in self.judged()]
        if not any(form.errors for form in self.judged()):
            self._ask()
            verdicts = [form.is_valid() for form in self.judged()]
        return all(verdicts)

    def _ask(self) -> None:
        """Ask about a customer who is in the book, and about an odometer that leaps; all forms are valid."""
        if self.chosen_customer is None:
            self.customer.ask_about_twin(number for number, _label in self.contact.phones())
        read = self.visit.odometer()
        if read is not None and not self.no_vehicle and not self.visit.questions:
            question = kernel.leap(self.chosen_vehicle, read.reading, read.unit, timezone.localdate())
            if question:
                self.visit.ask(question)

    @property
    def asked(self) -> Asked:
        """What the sheet asks back, answered with one tap."""
        judged = list(self.judged())
        asking = [form for form in judged if isinstance(form, AskingForm)]
        return Asked(asking, any(form.errors for form in judged))

    @property
    def choices(self) -> list[Vehicle]:
        """The vehicles to choose from: the customer's, and the one found by its VIN or plate."""
        owned = list(self.chosen_customer.cars) if self.chosen_customer is not None else []
        picked = [self.chosen_vehicle] if self.chosen_vehicle is not None and self.chosen_vehicle not in owned else []
        return [*owned, *picked]

    def refuse(self, error: Refused) -> None:
        """Show a verb's refusal beside the field it names, in whichever form has it."""
        refuse(next((form for form in self.judged() if error.field in form.fields), self.visit), error)

    def values(self) -> dict[str, Any]:
        """What `open_job` takes."""
        visit = self.visit.cleaned_data
        names = ("concern", "key_tag", "parked", "drop_off_notes", "promised_at", "photos")
        return {
            "key": self.pick.cleaned_data["key"],
            "customer": self.chosen_customer or self._new_customer(),
            "vehicle": self.chosen_vehicle or (None if self.no_vehicle else self._new_vehicle()),
            "theirs_now": self.pick.cleaned_data["theirs_now"],
            "odometer": self.visit.odometer(),
            **{name: visit[name] for name in names},
        }

    def _new_customer(self) -> NewCustomer:
        fields = {name: value for name, value in self.customer.cleaned_data.items() if name != "version"}
        return NewCustomer(fields, self.contact.phones(), self.contact.emails())

    def _new_vehicle(self) -> NewVehicle:
        return NewVehicle({name: value for name, value in self.vehicle.cleaned_data.items() if name != "version"})
