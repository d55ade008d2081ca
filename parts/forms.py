"""The shelf's smaller forms: setting what is left, undoing, replacing, opening stock, suppliers, prices, markup."""

from decimal import Decimal
from typing import Any

from django import forms
from django.http import QueryDict

from garage.asking import AskingForm
from garage.forms import FieldsForm, KeyForm, QuantityFormField, UnitPriceFormField
from garage.forms_fields import DayField, PlainDecimalField, needed
from garage.rows import BaseRows, Lenient, Row, rearranged, rows_of
from parts.doubts import about_count, about_price
from parts.models import Container, Item, Movement, Pack, Supplier
from parts.pricing import Band

Kind = Movement.Kind
CHOOSE_PACK = "Choose a pack."


class ContainerForm(AskingForm, KeyForm):
    """What is left in a container, or what of it was lost."""

    kind = forms.ChoiceField(
        label="What happened",
        choices=[
            (Kind.COUNT, "dipped, weighed or counted: so much is left"),
            (Kind.ADJUSTMENT, "the book was wrong: so much is left"),
            (Kind.WASTE, "spilled or thrown away: so much is gone"),
        ],
        initial=Kind.COUNT,
        widget=forms.RadioSelect,
        error_messages=needed("Choose what happened."),
    )
    quantity = QuantityFormField(base="L", label="How much", allow_zero=True, error_messages=needed("Write how much."))
    reason = forms.CharField(label="Why", max_length=200, required=False, help_text="Needed unless it was counted.")

    def __init__(self, *args: Any, container: Container, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.container = container
        field = self.fields["quantity"]
        assert isinstance(field, QuantityFormField)
        field.base = field.default_unit = container.item.base_unit

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        typed = cleaned.get("quantity")
        if typed is not None and cleaned.get("kind") != Kind.WASTE:
            for question in about_count(self.container.content, typed.value, self.container.item.base_unit):
                self.ask(question)
        return cleaned


class CountForm(AskingForm, KeyForm):
    """How many of a counted item are there."""

    quantity = QuantityFormField(
        base="each", label="How many are there", allow_zero=True, error_messages=needed("Write how many are there.")
    )
    reason = forms.CharField(label="Why it differs", max_length=200, required=False)

    def __init__(self, *args: Any, item: Item, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.item = item

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if typed := cleaned.get("quantity"):
            for question in about_count(self.item.on_hand, typed.value, self.item.base_unit):
                self.ask(question)
        return cleaned


class ReasonForm(KeyForm):
    """An undoing says why: it stays in the book beside what it undoes."""

    reason = forms.CharField(label="Why", max_length=200, error_messages=needed("Write why."))


class SupersedeForm(forms.Form):
    """Which item replaces this one, since when."""

    new = forms.ModelChoiceField(
        Item.objects.all(),
        label="Replaced by",
        widget=forms.HiddenInput,
        error_messages=needed("Choose the item that replaces it."),
    )
    on = DayField(label="Since", error_messages=needed("Choose the day."))
    note = forms.CharField(label="Note", max_length=200, required=False)

    def values(self) -> dict[str, Any]:
        """What `supersede` takes beside the old item."""
        cleaned = self.cleaned_data
        return {"new": cleaned["new"], "on": cleaned["on"], "note": cleaned["note"]}


class OpeningForm(AskingForm, KeyForm):
    """What stood on the shelf when the book began."""

    pack = forms.ModelChoiceField(
        Pack.objects.none(), label="Pack", required=False, empty_label="single", error_messages=needed(CHOOSE_PACK)
    )
    packs = forms.IntegerField(
        label="Full packs",
        min_value=0,
        max_value=500,
        initial=0,
        error_messages=needed("Write how many full packs there are; 0 for none."),
    )
    opened_content = QuantityFormField(base="L", label="Left in an open one", required=False)
    unit_cost = UnitPriceFormField(label="Unit cost", minimum=Decimal(0), error_messages=needed("Write what it cost."))

    def __init__(self, *args: Any, item: Item, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.item = item
        pack = self.fields["pack"]
        assert isinstance(pack, forms.ModelChoiceField)
        pack.queryset = item.packs.filter(active=True)
        if item.measured:
            pack.required, pack.empty_label = True, None
            self.fields["unit_cost"].label = "Cost per L"
        else:
            del self.fields["opened_content"]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if (cost := cleaned.get("unit_cost")) is not None:
            for question in about_price(self.item, cost):
                self.ask(question)
        return cleaned

    def values(self) -> dict[str, Any]:
        """What `opening_stock` takes beside the item."""
        cleaned = dict(self.cleaned_data)
        opened = cleaned.pop("opened_content", None)
        return {**cleaned, "opened_content": opened.value if opened else None}


class SupplierForm(FieldsForm):
    """Somebody we buy from."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    class Meta:
        model = Supplier
        error_messages = {"name": needed("Write the supplier’s name.")}
        fields = ["name", "account", "phone", "email", "lead_days", "address", "notes"]
        widgets = {"address": forms.Textarea({"rows": 3}), "notes": forms.Textarea({"rows": 3})}


class PackPriceForm(forms.Form):
    """What a supplier asks for a pack."""

    pack = forms.ModelChoiceField(
        Pack.objects.none(), label="Pack", empty_label=None, error_messages=needed(CHOOSE_PACK)
    )
    supplier = forms.ModelChoiceField(
        Supplier.objects.all(), label="Supplier", error_messages=needed("Choose a supplier.")
    )
    price = UnitPriceFormField(
        label="Price a pack", minimum=Decimal(0), error_messages=needed("Write the price of a pack.")
    )
    number = forms.CharField(label="Their number", max_length=80, required=False)

    def __init__(self, *args: Any, item: Item, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        pack = self.fields["pack"]
        assert isinstance(pack, forms.ModelChoiceField)
        pack.queryset = item.packs.filter(active=True)


class BandRow(Row):
    up_to = UnitPriceFormField(label="Up to a cost of", required=False, minimum=Decimal(0))
    percent = PlainDecimalField(
        label="Markup, %", max_places=4, minimum=Decimal(0), error_messages=needed("Write the markup.")
    )


class MarkupHead(Lenient, forms.Form):
    """Carries what concerns the table as a whole."""


class MarkupSheet:
    """The markup table: bands by unit cost; the one without a limit is for everything above."""

    def __init__(self, data: QueryDict | None, bands: list[Band]) -> None:
        changed = rearranged(data) if data else None
        self.rearranging = changed is not None
        data = changed or data
        start = [{"up_to": band.up_to, "percent": band.markup * 100} for band in bands]
        self.form = MarkupHead(data)
        self.rows: BaseRows = rows_of(BandRow)(data, prefix="bands", initial=start)
        if self.rearranging:
            self.form.judged = False
            self.rows.spare(data.get("rows", "") if data else "")

    def __iter__(self) -> Any:
        """Every form, for the summary of errors."""
        yield self.form
        yield from self.rows.forms

    def is_valid(self) -> bool:
        """Whether the table may be tried."""
        return all([self.form.is_valid(), self.rows.is_valid()])

    def bands(self) -> list[Band]:
        """The bands in order of their limits, the open one last."""
        rows = [row.cleaned_data for row in self.rows.forms if row.has_changed()]
        bands = [Band(row["up_to"], row["percent"] / 100) for row in rows]
        return sorted(bands, key=lambda band: (band.up_to is None, band.up_to or 0))
