"""Forms of a vehicle: what it is, whose it is, how far it has come."""

import datetime as dt
from typing import Any

from django import forms

from garage import queries, search
from garage.actions.vehicles import FIELDS
from garage.asking import AskingForm
from garage.forms import FieldsForm
from garage.forms_fields import DayField, WholeNumberField, needed
from garage.models import DistanceUnit, OdometerReading, Vehicle
from garage.vin import Vin, read_vin

FIRST_YEAR = 1885

READ_IT = "Write what the odometer shows."
CHOOSE_UNIT = "Choose miles or kilometers."


class VehicleForm(AskingForm, FieldsForm):
    """What a car is. Asks back about a failed check digit, a year the VIN does not stand for, a plate seen before."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    year = WholeNumberField(label="Model year", required=False, minimum=FIRST_YEAR, maximum=2100)

    class Meta:
        model = Vehicle
        fields = FIELDS
        error_messages = {"make": needed("Write the make."), "model": needed("Write the model.")}
        widgets = {
            "vin": forms.TextInput({"autocapitalize": "characters", "spellcheck": "false", "autocomplete": "off"}),
            "plate": forms.TextInput({"autocapitalize": "characters", "spellcheck": "false", "autocomplete": "off"}),
            "notes": forms.Textarea({"rows": 3}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["vin"] = forms.CharField(
            label="VIN", max_length=40, required=False, widget=self.fields["vin"].widget
        )
        if self.instance.pk:
            self.initial["version"] = self.instance.version

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        self._judge_vin(cleaned)
        plate = cleaned.get("plate")
        other = queries.with_plate(search.key(plate), but=self.instance) if plate else None
        if other:
            whose = f" of {other.owner}" if other.owner else ""
            self.ask(f"The plate {other.plate} is already on the {other}{whose}. Does this car carry it now?")
        return cleaned

    def _judge_vin(self, cleaned: dict[str, Any]) -> None:
        vin, year = cleaned.get("vin"), cleaned.get("year")
        if not vin or cleaned.get("vin_not_standard"):
            return
        reading = read_vin(vin, heavy=bool(cleaned.get("heavy")))
        if not reading.ok:
            self.add_error("vin", " ".join(reading.problems))
            return
        cleaned["vin"] = reading.vin
        for problem in reading.problems:
            self.ask(problem)
        self._judge_year(cleaned, reading, year)

    def _judge_year(self, cleaned: dict[str, Any], reading: Vin, year: int | None) -> None:
        """Take the one year a VIN stands for when none was typed; ask about two, or about another.

        Outside North America position 10 need not be a year: there the years are offered, never asked about.
        """
        years = reading.model_years
        if not years or reading.region != "North America":
            return
        named = " or ".join(map(str, years))
        if year is None and len(years) == 1:
            cleaned["year"] = years[0]
        elif year is None:
            self.ask(f"The VIN stands for model year {named}: write the right one.")
        elif year not in years:
            self.ask(f"The VIN stands for model year {named}, not {year}.")

    @property
    def candidate_years(self) -> tuple[int, ...]:
        """The model years that the typed VIN can stand for, to be offered beside the year."""
        vin = str(self["vin"].value() or "")
        reading = read_vin(vin, heavy=bool(self["heavy"].value()))
        return reading.model_years if reading.ok else ()


class OwnerForm(forms.Form):
    """Whose car it is from which day."""

    on = DayField(label="Since", error_messages=needed("Choose the day."))


class OdometerForm(AskingForm, forms.Form):
    """What the odometer shows. The fields of a lower reading are shown once the verb has asked about it."""

    reading = WholeNumberField(label="Odometer", error_messages=needed(READ_IT))
    unit = forms.ChoiceField(label="Unit", choices=DistanceUnit.choices, error_messages=needed(CHOOSE_UNIT))
    on = DayField(label="Day", error_messages=needed("Choose the day it was read."))
    condition = forms.ChoiceField(
        label="This reading is", choices=OdometerReading.Condition.choices, initial="actual", required=False
    )
    lower_reason = forms.ChoiceField(
        label="Why it shows less", choices=OdometerReading.LowerReason.choices, required=False
    )
    before = WholeNumberField(label="It showed before", required=False)

    def __init__(self, *args: Any, vehicle: Vehicle, today: dt.date, unit: str, **kwargs: Any) -> None:
        last = queries.latest_reading(vehicle)
        kwargs["initial"] = {"on": today, "unit": last.unit if last else unit, "before": last and last.reading}
        super().__init__(*args, **kwargs)
        self.vehicle = vehicle

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        reading, unit, on = (cleaned.get(name) for name in ("reading", "unit", "on"))
        if reading is not None and unit and on and (question := queries.leap(self.vehicle, reading, unit, on)):
            self.ask(question)
        return cleaned

    def clean_condition(self) -> str:
        return self.cleaned_data["condition"] or OdometerReading.Condition.ACTUAL

    @property
    def asks_why(self) -> bool:
        """Whether the reading has turned out to be lower than an earlier one."""
        return self.is_bound and ("lower_reason" in self.data or bool(self.errors.get("reading")))
