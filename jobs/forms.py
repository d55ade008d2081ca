"""The counter's forms for a job: its facts, its operations, its lines."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from garage import units
from garage.forms import FieldsForm, QuantityFormField, Typed, UnitPriceFormField
from garage.forms_fields import PlainDecimalField, WholeNumberField, in_living_memory, plain_text
from garage.models import TaxClass, User
from garage.photos import ACCEPT
from jobs import amounts, showing
from jobs.actions.intake import FACTS
from jobs.actions.writing_up import LINE_FIELDS, OPERATION_FIELDS, TAX_CLASSES, UNITS, kind_of
from jobs.models import Job, Line, LineKind, Operation, Stage
from jobs.seen import mark
from parts.models import Item
from parts.queries import price_of

WORDS = {"rows": 2}
FINER = Line._meta.get_field("finer").choices or ()
LARGEST_AMOUNT = Decimal("1e9")


class MomentField(forms.DateTimeField):
    """A day and time, with the browser's own calendar; in the years of `DayField`."""

    def __init__(self, **kwargs: Any) -> None:
        shown = "%Y-%m-%dT%H:%M"
        widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format=shown)
        super().__init__(
            **{"widget": widget, "input_formats": [shown, "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M"], **kwargs}
        )
        self.validators.append(in_living_memory)


class SeveralFilesInput(forms.ClearableFileInput):
    """A file field that takes more than one."""

    allow_multiple_selected = True


class PhotosField(forms.FileField):
    """Photos, none or several; each is checked and written anew when it is stored."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"required": False, "widget": SeveralFilesInput({"accept": ACCEPT}), **kwargs})

    def clean(self, data: Any, initial: Any = None) -> Any:
        given = data if isinstance(data, (list, tuple)) else [data]
        files = [super(PhotosField, self).clean(one, initial) for one in given if one]
        return files or [file for file in [super().clean(None, initial)] if file]


class VersionForm(forms.Form):
    """A form that notices another person's edit by the mark of what it would overwrite."""

    version = forms.CharField(widget=forms.HiddenInput, required=False)


class JobForm(VersionForm, FieldsForm):
    """What was written down when the car came in."""

    promised_at = MomentField(label="Promised for", required=False)

    class Meta:
        model = Job
        fields = FACTS
        widgets = {"concern": forms.Textarea(WORDS), "drop_off_notes": forms.Textarea(WORDS)}

    def __init__(self, data: Any = None, *, job: Job) -> None:
        super().__init__(data, instance=job, initial={"version": mark(job, *FACTS)})

    def values(self) -> dict[str, Any]:
        """What `change_job` takes."""
        return {name: self.cleaned_data[name] for name in FACTS}


class OperationForm(VersionForm, FieldsForm):
    """An operation's words: what the customer says, what was found, what was done."""

    class Meta:
        model = Operation
        fields = OPERATION_FIELDS
        widgets = {name: forms.Textarea(WORDS) for name in ("concern", "cause", "correction")}

    def __init__(self, data: Any = None, *, operation: Operation | None = None, concern: str = "") -> None:
        initial = {"version": mark(operation, *OPERATION_FIELDS)} if operation is not None else {"concern": concern}
        super().__init__(data, instance=operation, initial=initial)

    def values(self) -> dict[str, Any]:
        """What `edit_operation` takes."""
        return {name: self.cleaned_data[name] for name in OPERATION_FIELDS}


class PhotoForm(forms.Form):
    """Photos of the car, with a word on what they show."""

    photos = PhotosField(label="Photos", required=True, error_messages={"required": "Choose a photo."})
    caption = forms.CharField(label="What they show", max_length=160, required=False)

    def uploads(self) -> list[UploadedFile]:
        """The files chosen."""
        files: list[UploadedFile] = self.cleaned_data["photos"]
        return files


class CancelForm(forms.Form):
    """Why a visit is called off."""

    reason = forms.CharField(label="Why", max_length=160)


class StartForm(forms.Form):
    """Who takes the car into the bay."""

    technician = forms.ModelChoiceField(
        label="With", queryset=User.objects.none(), required=False, empty_label="nobody named yet"
    )

    def __init__(self, data: Any = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.fields["technician"].queryset = User.objects.filter(is_active=True).exclude(role="reader")  # type: ignore[attr-defined]


class StageFilter(forms.Form):
    """The counter's list, narrowed to what its jobs wait for."""

    STAGES = (
        ("", "everything open"),
        (Stage.WRITTEN_UP, "an estimate"),
        (Stage.AWAITING, "authorization"),
        (Stage.READY, "the bay"),
        (Stage.IN_BAY, "the work in the bay"),
        (Stage.FINISHED, "the invoice"),
    )

    stage = forms.ChoiceField(label="Waiting for", choices=STAGES, required=False)


class CorrectReadingForm(forms.Form):
    """What an odometer really showed."""

    reading = WholeNumberField(label="It showed")


class LineForm(VersionForm):
    """A line of one kind: what, how much in any unit, at which price."""

    item = forms.ModelChoiceField(queryset=Item.objects.all(), widget=forms.HiddenInput, required=False)
    description = forms.CharField(label="What", max_length=200)
    sublet_to = forms.CharField(label="Done by", max_length=120)
    quantity = QuantityFormField(base="each", label="Quantity")
    unit_price = UnitPriceFormField(label="Each", minimum=Decimal(0))
    discount = PlainDecimalField(label="Discount, %", max_places=4, minimum=Decimal(0), required=False)
    condition = forms.ChoiceField(label="Condition", choices=Line.Condition.choices, required=False)
    finer = forms.ChoiceField(label="Finer kind", choices=FINER, required=False)
    tax_class = forms.ChoiceField(label="Tax class", choices=TaxClass.choices)

    #: What a line of each kind does not have.
    LEFT_OUT = {
        LineKind.LABOR: ("sublet_to", "condition"),
        LineKind.PART: ("sublet_to",),
        LineKind.FLUID: ("sublet_to", "finer"),
        LineKind.SUBLET: ("condition", "finer"),
        LineKind.CHARGE: ("sublet_to", "condition"),
    }
    PRICE_LABELS = {LineKind.LABOR: "Per hour", LineKind.FLUID: "Price per L"}

    def __init__(self, data: Any = None, *, kind: LineKind, initial: dict[str, Any] | None = None) -> None:
        super().__init__(data, initial=initial)
        self.kind, self.unit = kind, UNITS[kind]
        self.fields["quantity"] = QuantityFormField(
            base=self.unit, whole=kind == LineKind.PART, label="Hours" if self.unit == "h" else "Quantity"
        )
        self.fields["unit_price"].label = self.PRICE_LABELS.get(kind, "Each")
        for name in self.LEFT_OUT[kind]:
            del self.fields[name]
        self.order_fields(["version", "item", "description", "sublet_to", "quantity"])

    def clean_discount(self) -> Decimal:
        percent = self.cleaned_data["discount"] or Decimal(0)
        if percent > 100:
            raise forms.ValidationError("At most 100 %.")
        share: Decimal = percent / 100
        return share

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        typed, price, item = cleaned.get("quantity"), cleaned.get("unit_price"), cleaned.get("item")
        if item is not None and kind_of(item) != self.kind:
            self.add_error("description", f"{item} is not charged as {self.kind.label}.")
        if isinstance(typed, Typed) and price is not None and typed.value * price >= LARGEST_AMOUNT:
            self.add_error("quantity", "That comes to more than a line can hold.")
        return cleaned

    def values(self) -> dict[str, Any]:
        """What `save_line` takes."""
        typed: Typed = self.cleaned_data["quantity"]
        kept = {name: self.cleaned_data[name] for name in LINE_FIELDS if name in self.fields and name != "quantity"}
        return {
            **dict.fromkeys(("sublet_to", "condition", "finer"), ""),
            **kept,
            "kind": self.kind,
            "unit": self.unit,
            "quantity": typed.value,
            "typed": _typed_text(typed),
        }

    def preview(self) -> dict[str, Any]:
        """What the figures typed so far come to, for the line that follows the typing; only what can be said."""
        self.is_valid()
        typed, price = self.cleaned_data.get("quantity"), self.cleaned_data.get("unit_price")
        discount = self.cleaned_data.get("discount", Decimal(0))
        said: dict[str, Any] = {}
        if typed is not None:
            said["quantity"] = showing.quantity(typed.value, self.unit, _typed_text(typed))
        if price is not None:
            said["price"] = showing.price(price, self.unit)
        if typed is not None and price is not None and not self.errors.keys() & {"quantity", "discount"}:
            said["amount"] = amounts.amount(typed.value, price, discount)
        return said


def _typed_text(typed: Typed) -> str:
    """What was typed, with its unit when none was."""
    if any(character.isalpha() for character in typed.text):
        return typed.text
    label = "h" if typed.unit == "h" else units.label(typed.unit)
    return f"{typed.text} {label}"


def line_start(kind: LineKind, item: Item | None, labor_rate: Decimal) -> dict[str, Any]:
    """What a new line of a kind begins with: the item's name and price, the shop's labor rate."""
    start: dict[str, Any] = {"tax_class": TAX_CLASSES[kind]}
    if kind == LineKind.LABOR:
        start |= {"description": "Labor", "unit_price": labor_rate}
    elif kind in (LineKind.PART, LineKind.FLUID):
        start["condition"] = Line.Condition.NEW
    if item is not None and kind_of(item) == kind:
        start |= {
            "item": item.pk,
            "description": str(item),
            "tax_class": item.tax_class,
            "unit_price": price_of(item),
        }
    return start


def line_as_it_is(line: Line) -> dict[str, Any]:
    """What the form of an existing line begins with."""
    start = {name: getattr(line, name) for name in LINE_FIELDS if name != "item"}
    start |= {"item": line.item_id, "version": mark(line, *LINE_FIELDS)}
    start["discount"] = line.discount * 100 if line.discount else None
    start["quantity"] = line.typed or plain_text(line.quantity)
    return start
