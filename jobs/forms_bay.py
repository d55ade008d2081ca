"""The bay's other forms: photos, draws, recommended work, findings, the final look with the odometer out."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from garage.asking import AskingForm
from garage.forms import KeyForm, QuantityFormField, Typed, put_back
from garage.forms_fields import DayField, WholeNumberField, needed
from garage.forms_vehicles import CHOOSE_UNIT, READ_IT
from garage.models import DistanceUnit, OdometerReading
from garage.photos import ACCEPT
from garage.queries import leap
from garage.units import label
from jobs.actions.evidence import Limit
from jobs.actions.intake import Odometer
from jobs.actions.writing_up import OPERATION_FIELDS
from jobs.models import Advisory, FinalLook, Job, Line, Operation
from jobs.seen import mark

WORDS = {"rows": 2}
FINDINGS = ("cause", "correction")


class StepPhotoForm(KeyForm):
    """A photo at a step."""

    photo = forms.FileField(
        label="Photo",
        widget=forms.FileInput({"accept": ACCEPT, "capture": "environment"}),
        error_messages=needed("Choose a photo."),
    )
    caption = forms.CharField(label="What it shows", max_length=160, required=False)


class FindingsForm(forms.Form):
    """What was found and what was done, in words for the customer."""

    version = forms.CharField(widget=forms.HiddenInput, required=False)
    cause = forms.CharField(label="Found", max_length=2000, required=False, widget=forms.Textarea(WORDS))
    correction = forms.CharField(label="Done", max_length=2000, required=False, widget=forms.Textarea(WORDS))

    def __init__(self, data: Any = None, *, operation: Operation) -> None:
        initial = {name: getattr(operation, name) for name in FINDINGS}
        super().__init__(data, initial={**initial, "version": mark(operation, *OPERATION_FIELDS)})


class DrawForm(AskingForm, KeyForm):
    """How much is drawn for a line, or brought back from it."""

    def __init__(self, data: Any = None, *, line: Line) -> None:
        super().__init__(data)
        assert line.item is not None
        self.fields["quantity"] = QuantityFormField(
            base=line.item.base_unit,
            default_unit=line.unit,
            label=f"How much, {label(line.unit)}",
            error_messages=needed("Write how much."),
        )

    def amount(self) -> tuple[Decimal, str]:
        """The quantity in the item's base unit, and as typed."""
        typed: Typed = self.cleaned_data["quantity"]
        return typed.value, typed.text


class AdvisoryForm(KeyForm):
    """Something noticed for later, in two taps: what, and by when."""

    USUAL = ("Brake pads low", "Tire tread low", "Oil leak", "Boot cracked", "Wiper worn", "Battery weak")

    usual = forms.ChoiceField(
        label="What you found",
        choices=[*((text, text) for text in USUAL), ("other", "something else")],
        initial="other",
        widget=forms.RadioSelect,
        error_messages=needed("Choose what you recommend."),
    )
    text = forms.CharField(label="Recommendation", max_length=200, required=False)
    limit = forms.ChoiceField(
        label="To be done",
        choices=Advisory.Limit.choices,
        initial=Advisory.Limit.NEXT,
        widget=forms.RadioSelect,
        error_messages=needed("Choose when it is to be done."),
    )
    within = WholeNumberField(label="Within", required=False, minimum=1, maximum=999_999)
    by_date = DayField(label="By", required=False)
    photo = forms.FileField(
        label="Photo", required=False, widget=forms.FileInput({"accept": ACCEPT, "capture": "environment"})
    )

    def clean(self) -> dict[str, Any]:
        usual, text = (self.cleaned_data.get(name, "") for name in ("usual", "text"))
        said = [word for word in (usual if usual != "other" else "", text) if word]
        if not said:
            self.add_error("text", "Write what you recommend, or tap one of the usual ones.")
        self.cleaned_data["text"] = ": ".join(said)
        return self.cleaned_data

    def until(self, odometer: int | None) -> Limit:
        """The limit chosen; `odometer` is where the vehicle stands, for a limit by distance."""
        within, day = self.cleaned_data["within"], self.cleaned_data["by_date"]
        return Limit(self.cleaned_data["limit"], (odometer or 0) + within if within else None, day)


class FinishForm(AskingForm, forms.Form):
    """The final look, where none stands, and the odometer as the car leaves the bay."""

    look = forms.BooleanField(
        label=_("I took the final look."),
        error_messages={"required": _("Take the final look and tick it, or leave the job in the bay.")},
    )
    look_reason = forms.CharField(
        label=_("Why nobody else takes the final look"),
        max_length=200,
        error_messages={"required": _("Write why nobody else takes the final look.")},
    )
    reading = WholeNumberField(label="Odometer out", error_messages=needed(READ_IT))
    unit = forms.ChoiceField(label="Unit", choices=DistanceUnit.choices, error_messages=needed(CHOOSE_UNIT))
    lower_reason = forms.ChoiceField(
        label="Why it shows less", choices=OdometerReading.LowerReason.choices, required=False
    )
    before = WholeNumberField(label="It showed before", required=False)

    def __init__(
        self, data: Any = None, *, job: Job, unit: str, look: FinalLook | None = None, alone: bool = False
    ) -> None:
        last = job.odometer_in
        self.job = job
        super().__init__(data, initial={"unit": last.unit if last else unit, "before": last and last.reading})
        gone = {
            *(("look", "look_reason") if look is not None else () if alone else ("look_reason",)),
            *(("reading", "unit", "lower_reason", "before") if job.vehicle is None else ()),
        }
        for name in gone:
            del self.fields[name]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        read, unit = cleaned.get("reading"), cleaned.get("unit")
        if read is not None and unit and (question := leap(self.job.vehicle, read, unit, timezone.localdate())):
            self.ask(question)
        return cleaned

    def add_error(self, field: str | None, error: Any) -> None:
        """A look that was refused is taken anew, after what kept it: its tick does not stay."""
        if field == "look":
            put_back(self, "look")
        super().add_error(field, error)

    @property
    def asks_why(self) -> bool:
        """Whether the reading has turned out to be lower than an earlier one."""
        return self.is_bound and "reading" in self.fields and bool(self.errors or self.data.get("lower_reason"))

    def odometer(self) -> Odometer | None:
        """What was read; None for a job without a vehicle."""
        if "reading" not in self.fields:
            return None
        read = self.cleaned_data
        return Odometer(read["reading"], read["unit"], read["lower_reason"], read["before"])
