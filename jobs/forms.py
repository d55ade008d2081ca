"""The counter's forms for a job: its facts, its operations, its lines."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy as _

from garage import units
from garage.asking import AskingForm
from garage.forms import FieldsForm, MoneyFormField, QuantityFormField, Typed, UnitPriceFormField
from garage.forms_fields import PlainDecimalField, WholeNumberField, in_living_memory, needed, plain_text
from garage.models import TaxClass, User
from garage.photos import ACCEPT
from jobs import amounts, showing
from jobs.actions.intake import FACTS
from jobs.actions.writing_up import LINE_FIELDS, OPERATION_FIELDS, TAX_CLASSES, UNITS, kind_of
from jobs.models import CarTaken, Finer, Job, Line, LineKind, Operation
from jobs.seen import mark
from parts.doubts import about_selling
from parts.models import Item
from parts.queries import price_of

WORDS = {"rows": 2}
#: What a person may choose; goodwill and a returned core have acts of their own.
FINER = [(Finer(value), Finer(value).label) for value in ("", "core", "kit", "teardown", "fee")]
LARGEST_AMOUNT = Decimal("1e9")


@dataclass(frozen=True)
class TypedPrice:
    """A price as typed; `per` is the unit it was typed per, or empty for the unit of the line's quantity."""

    value: Decimal
    per: str = ""


HOW_MUCH = "Write how much."


class LinePriceField(UnitPriceFormField):
    """A price of a line: to the cent, below 1.00 to a hundredth of a cent; `30.69 / L` names its own unit."""

    def to_python(self, value: Any) -> Any:
        figure, slash, unit = str(value or "").partition("/")
        number = super().to_python(figure.strip())
        if number is None or not isinstance(number, Decimal):
            return None
        per = _unit_of_price(unit) if slash else ""
        if number != amounts.charged_price(number, "each", "each"):
            raise forms.ValidationError("Write the price to the cent; below 1.00 four places are kept.")
        return TypedPrice(number, per)

    def has_changed(self, initial: Any, data: Any) -> bool:
        return bool(str(initial or "") != str(data or ""))


def _unit_of_price(text: str) -> str:
    """The unit a price is typed per, as a unit a line is charged in."""
    try:
        unit = units.unit_code(text.strip())
    except ValueError as error:
        raise forms.ValidationError(str(error)) from None
    if amounts.base_unit(unit) != "L" or unit not in amounts.VOLUMES:
        raise forms.ValidationError("Write the price per L, qt or gal.")
    return unit


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


class CarTakenForm(forms.Form):
    """The customer's word that they take the car although work on it was not done; nothing is chosen beforehand."""

    who = forms.CharField(label=_("Who said it"), max_length=80, error_messages={"required": _("Write who said it.")})
    how = forms.ChoiceField(
        label=_("How it was said"),
        choices=CarTaken.How.choices,
        widget=forms.RadioSelect,
        error_messages={"required": _("Choose how it was said.")},
    )
    said_at = MomentField(label=_("When it was said"), error_messages={"required": _("Write when it was said.")})
    words = forms.CharField(
        label=_("In their words"),
        max_length=1000,
        widget=forms.Textarea(WORDS),
        error_messages={"required": _("Write it in their words.")},
    )


class VersionForm(forms.Form):
    """A form that notices another person's edit by the mark of what it would overwrite."""

    version = forms.CharField(widget=forms.HiddenInput, required=False)


class JobForm(VersionForm, FieldsForm):
    """What was written down when the car came in."""

    promised_at = MomentField(label="Promised for", required=False)

    class Meta:
        model = Job
        fields = FACTS
        error_messages = {"concern": needed("Write what brings the customer here.")}
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
        error_messages = {"title": needed("Write a title.")}
        widgets = {name: forms.Textarea(WORDS) for name in ("concern", "cause", "correction")}

    def __init__(self, data: Any = None, *, operation: Operation | None = None, concern: str = "") -> None:
        initial = {"version": mark(operation, *OPERATION_FIELDS)} if operation is not None else {"concern": concern}
        super().__init__(data, instance=operation, initial=initial)

    def values(self) -> dict[str, Any]:
        """What `edit_operation` takes."""
        return {name: self.cleaned_data[name] for name in OPERATION_FIELDS}


class PhotoForm(forms.Form):
    """Photos of the car, with a word on what they show."""

    photos = PhotosField(label="Photos", required=True, error_messages=needed("Choose a photo."))
    caption = forms.CharField(label="What they show", max_length=160, required=False)

    def uploads(self) -> list[UploadedFile]:
        """The files chosen."""
        files: list[UploadedFile] = self.cleaned_data["photos"]
        return files


class CancelForm(forms.Form):
    """Why a visit is called off."""

    reason = forms.CharField(label="Why", max_length=160, error_messages=needed("Write why the job is canceled."))


class StartForm(forms.Form):
    """Who takes the car into the bay."""

    technician = forms.ModelChoiceField(
        label="With", queryset=User.objects.none(), required=False, empty_label="no technician assigned"
    )

    def __init__(self, data: Any = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.fields["technician"].queryset = User.objects.filter(is_active=True).exclude(role="reader")  # type: ignore[attr-defined]


class CorrectReadingForm(forms.Form):
    """What an odometer really showed."""

    reading = WholeNumberField(label="It showed", error_messages=needed("Write what it showed."))


class GoodwillForm(VersionForm):
    """What is taken off an operation without anything being given back, in which tax class, and why."""

    description = forms.CharField(
        label="What for", max_length=160, error_messages=needed("Write what it is for: it is printed on the invoice.")
    )
    amount = MoneyFormField(
        label="Amount off", minimum=Decimal("0.01"), error_messages=needed("Write what is taken off.")
    )
    tax_class = forms.ChoiceField(
        label="Off what is taxed as",
        choices=[("", "choose"), *TaxClass.choices],
        error_messages=needed("Choose the tax class: base and tax fall with it."),
    )

    def __init__(self, data: Any = None, *, line: Line | None = None) -> None:
        start: dict[str, Any] = {}
        if line is not None:
            start = {"description": line.description, "amount": -line.unit_price, "tax_class": line.tax_class}
            start["version"] = mark(line, *LINE_FIELDS)
        super().__init__(data, initial=start)

    def values(self) -> dict[str, Any]:
        """What `save_line` takes: one piece at a price below zero."""
        given = self.cleaned_data
        return {
            "kind": LineKind.CHARGE,
            "finer": Finer.GOODWILL,
            "description": given["description"],
            "quantity": Decimal(1),
            "unit": "each",
            "typed": "1",
            "unit_price": -given["amount"],
            "tax_class": given["tax_class"],
        }


class LineForm(AskingForm, VersionForm):
    """A line of one kind: what, how much in any unit, at which price; one far from the shelf's is asked about."""

    item = forms.ModelChoiceField(queryset=Item.objects.all(), widget=forms.HiddenInput, required=False)
    description = forms.CharField(label="What", max_length=200, error_messages=needed("Write what it is."))
    sublet_to = forms.CharField(label="Done by", max_length=120, error_messages=needed("Write who does it."))
    quantity = QuantityFormField(base="each", label="Quantity", error_messages=needed(HOW_MUCH))
    unit_price = LinePriceField(label="Unit price", minimum=Decimal(0), error_messages=needed("Write the price."))
    discount = PlainDecimalField(label="Discount, %", max_places=4, minimum=Decimal(0), required=False)
    condition = forms.ChoiceField(label="Condition", choices=Line.Condition.choices, required=False)
    finer = forms.ChoiceField(label="Line type", choices=FINER, required=False)
    tax_class = forms.ChoiceField(
        label="Tax class", choices=TaxClass.choices, error_messages=needed("Choose the tax class.")
    )
    if_needed = forms.BooleanField(
        label="Only if needed, up to this amount",
        required=False,
        help_text="It may turn out not to be needed. Quantity and price are then the most the customer is asked for. "
        "It is billed when it is taken from the shelf, or when this is unticked and what it came to is written.",
    )

    #: What a line of each kind does not have.
    LEFT_OUT = {
        LineKind.LABOR: ("sublet_to", "condition"),
        LineKind.PART: ("sublet_to",),
        LineKind.FLUID: ("sublet_to", "finer"),
        LineKind.SUBLET: ("condition", "finer"),
        LineKind.CHARGE: ("sublet_to", "condition"),
    }
    PRICE_LABELS = {LineKind.LABOR: "Per hour"}

    def __init__(self, data: Any = None, *, kind: LineKind, initial: dict[str, Any] | None = None) -> None:
        super().__init__(data, initial=initial)
        self.kind, self.unit = kind, UNITS[kind]
        self.fields["quantity"] = QuantityFormField(
            base=self.unit,
            whole=kind == LineKind.PART,
            label="Hours" if self.unit == "h" else "Quantity",
            error_messages=needed("Write how many hours." if self.unit == "h" else HOW_MUCH),
        )
        self.fields["unit_price"].label = self.PRICE_LABELS.get(kind, "Unit price")
        if kind == LineKind.PART:
            known = forms.ChoiceField(label="Line type", choices=FINER[:1] + FINER[2:], required=False)
            self.fields["finer"] = known  # a core is a charge under its part
        for name in self.LEFT_OUT[kind]:
            del self.fields[name]
        self.order_fields(["version", "item", "description", "sublet_to", "quantity"])

    def clean_discount(self) -> Decimal:
        percent = self.cleaned_data["discount"] or Decimal(0)
        if percent > 100:
            raise forms.ValidationError("At most 100%.")
        share: Decimal = percent / 100
        return share

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        typed, price, item = cleaned.get("quantity"), cleaned.get("unit_price"), cleaned.get("item")
        if item is not None and kind_of(item) != self.kind:
            self.add_error("description", f"{item} is not charged as {self.kind.label}.")
        if price is not None and price.per and self.unit != "L":
            self.add_error("unit_price", "Only fluid has a price per another unit.")
        elif isinstance(typed, Typed) and price is not None:
            figures = self.figures()
            if not figures.quantity:
                self.add_error("quantity", "That is less than a thousandth of its unit: write it in a smaller one.")
            elif figures.quantity * figures.unit_price >= LARGEST_AMOUNT:
                self.add_error("quantity", "That comes to more than a line can hold.")
            elif item is not None and {"item", "unit_price"} & set(self.changed_data):
                for question in about_selling(item, figures.unit_price, figures.unit):
                    self.ask(question)
        return cleaned

    def figures(self) -> amounts.Priced:
        """Quantity and price as they will be printed and charged, in the unit that the quantity was typed in."""
        typed, price = self.cleaned_data["quantity"], self.cleaned_data["unit_price"]
        number = units.parse_quantity(typed.text, typed.unit)[0] if self.unit == "L" else typed.value
        return amounts.priced(number, typed.unit, price.value, per=price.per or None)

    def values(self) -> dict[str, Any]:
        """What `save_line` takes."""
        typed: Typed = self.cleaned_data["quantity"]
        given = self.cleaned_data
        figures = ("quantity", "unit_price")
        kept = {name: given[name] for name in LINE_FIELDS if name in self.fields and name not in figures}
        return {
            **dict.fromkeys(("sublet_to", "condition", "finer"), ""),
            **kept,
            "kind": self.kind,
            "typed": _typed_text(typed),
            **vars(self.figures()),
        }

    def preview(self) -> dict[str, Any]:
        """What the figures typed so far come to, for the line that follows the typing; only what can be said."""
        self.is_valid()
        typed, price = self.cleaned_data.get("quantity"), self.cleaned_data.get("unit_price")
        discount = self.cleaned_data.get("discount", Decimal(0))
        said: dict[str, Any] = {"if_needed": self.cleaned_data.get("if_needed")}
        if typed is not None and price is not None and not self.errors.keys() & {"quantity", "unit_price"}:
            figures = self.figures()
            said["quantity"] = showing.quantity(figures.quantity, figures.unit)
            said["price"] = showing.price(figures.unit_price, figures.unit)
            if "discount" not in self.errors:
                said["amount"] = amounts.amount(figures.quantity, figures.unit_price, discount)
        elif typed is not None:
            said["quantity"] = showing.quantity(typed.value, self.unit)
        elif price is not None:
            said["price"] = showing.price(price.value, price.per or self.unit)
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
            "unit_price": _price_text(price_of(item), item.base_unit),
        }
    return start


def _price_text(price: Decimal | None, unit: str) -> str:
    """A price as its field begins with it: to the cent, of fluid with the unit it is per."""
    if price is None:
        return ""
    figure = plain_text(amounts.charged_price(price, unit, unit), least=2)
    return f"{figure} / {units.label(unit)}" if amounts.base_unit(unit) == "L" else figure


def line_as_it_is(line: Line) -> dict[str, Any]:
    """What the form of an existing line begins with."""
    start = {name: getattr(line, name) for name in LINE_FIELDS if name != "item"}
    start |= {"item": line.item_id, "version": mark(line, *LINE_FIELDS)}
    start["discount"] = line.discount * 100 if line.discount else None
    start["quantity"] = line.typed or showing.quantity(line.quantity, line.unit)[0].replace(",", "")
    start["unit_price"] = _price_text(line.unit_price, line.unit)
    return start
