"""The form of an item: one sheet with its numbers, specifications and packs."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict

from garage import search
from garage.forms import MoneyFormField, QuantityFormField, UnitPriceFormField
from garage.forms_fields import needed, plain_text
from garage.models import TaxClass
from garage.rows import BaseRows, Lenient, Row, rearranged, rows_of
from parts.actions.items import PackRow
from parts.models import Item, ItemNumber, Kind

SORTS = [
    ("fluid L", "fluid, by the liter"),
    ("part each", "part, counted"),
    ("consumable each", "consumable, counted"),
    ("consumable L", "consumable, by the liter"),
]


class ItemForm(Lenient, forms.Form):
    """What an item has one of. Quantities without a unit are in what it is counted in."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    name = forms.CharField(label="Name", max_length=120, error_messages=needed("Write the item’s name."))
    brand = forms.CharField(label="Brand", max_length=60, required=False)
    sort = forms.ChoiceField(label="Kind", choices=SORTS, error_messages=needed("Choose what kind of item it is."))
    location = forms.CharField(label="Place on the shelf", max_length=40, required=False)
    minimum = QuantityFormField(
        base="L", label="Minimum", required=False, allow_zero=True, help_text="At or under this it is listed as low."
    )
    wanted = QuantityFormField(base="L", label="Fill up to", required=False, allow_zero=True)
    price = UnitPriceFormField(
        label="Selling price", required=False, minimum=Decimal(0), help_text="Empty: from its cost and the markup."
    )
    tax_class = forms.ChoiceField(
        label="Tax class",
        choices=TaxClass.choices,
        initial=TaxClass.PARTS,
        error_messages=needed("Choose the tax class."),
    )
    core_deposit = MoneyFormField(label="Core deposit", required=False, minimum=Decimal(0))
    open_days = forms.IntegerField(
        label="Keeps after opening, days", required=False, min_value=1, max_value=3650, help_text="As its maker says."
    )
    hazard = forms.CharField(label="Hazard note", max_length=200, required=False)
    specifications = forms.CharField(
        label="Specifications it meets",
        required=False,
        widget=forms.Textarea({"rows": 3}),
        help_text="One on a line, as the maker prints it.",
    )
    notes = forms.CharField(label="Notes", required=False, widget=forms.Textarea({"rows": 3}))
    active = forms.BooleanField(label="In use", required=False, initial=True)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        base = base_of(str(self["sort"].value() or ""))
        for field in (self.fields["minimum"], self.fields["wanted"]):
            assert isinstance(field, QuantityFormField)
            field.base = field.default_unit = base
        self.fields["price"].label = "Selling price per L" if base == "L" else "Selling price"

    def values(self) -> dict[str, Any]:
        """The item's own fields, as `save_item` takes them."""
        cleaned = dict(self.cleaned_data)
        kind, _, base_unit = cleaned.pop("sort").partition(" ")
        for name in ("minimum", "wanted"):
            cleaned[name] = cleaned[name].value if cleaned[name] else Decimal(0)
        cleaned["core_deposit"] = cleaned["core_deposit"] or Decimal(0)
        for name in ("version", "specifications"):
            del cleaned[name]
        return {**cleaned, "kind": kind, "base_unit": base_unit}


class NumberRow(Row):
    kind = forms.ChoiceField(
        label="Which",
        choices=ItemNumber.Kind.choices,
        initial=ItemNumber.Kind.MAKER,
        error_messages=needed("Choose whose number it is."),
    )
    number = forms.CharField(label="Number or name", max_length=80, error_messages=needed("Write the number or name."))

    def clean_number(self) -> str:
        number: str = self.cleaned_data["number"]
        if not search.key(number):
            raise ValidationError("It holds no letter and no digit to be found by.")
        return number


class PackSizeRow(Row):
    label = forms.CharField(label="Pack", max_length=60, error_messages=needed("Write what the pack is called."))
    size = QuantityFormField(base="L", label="Size", error_messages=needed("Write the size of the pack."))
    barcode = forms.CharField(label="Barcode", max_length=60, required=False)
    pk = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def pack(self) -> PackRow:
        """The row as `save_item` takes it."""
        size = self.cleaned_data["size"]
        cleaned = self.cleaned_data
        return PackRow(cleaned["label"], size.value, size.text, cleaned["barcode"], cleaned["pk"])


class ItemSheet:
    """The forms of one item together. `like` is an item that a new one is to replace."""

    def __init__(self, data: QueryDict | None, item: Item | None, like: Item | None = None) -> None:
        changed = rearranged(data) if data else None
        self.rearranging = changed is not None
        data = changed or data
        self.form = ItemForm(data, initial=_initial(item or like, keep_name=item is not None))
        self.numbers: BaseRows = rows_of(NumberRow)(data, prefix="numbers", initial=_numbers(item))
        self.packs: BaseRows = rows_of(PackSizeRow)(data, prefix="packs", initial=_packs(item, like))
        self._count_packs_in(base_of(str(self.form["sort"].value() or "")))
        if self.rearranging:
            self.form.judged = False
            pressed = data.get("rows", "") if data else ""
            self.numbers.spare(pressed)
            self.packs.spare(pressed)

    def _count_packs_in(self, base: str) -> None:
        for row in self.packs.forms:
            row.fields["size"].base = row.fields["size"].default_unit = base

    def __iter__(self) -> Iterator[forms.BaseForm]:
        """Every form, for the summary of errors."""
        yield self.form
        yield from self.numbers.forms
        yield from self.packs.forms

    def is_valid(self) -> bool:
        """Whether the sheet may be saved: every form is judged, so that all errors show at once."""
        return all([self.form.is_valid(), self.numbers.is_valid(), self.packs.is_valid()])

    def values(self) -> dict[str, Any]:
        """What `save_item` takes."""
        return {
            "version": self.form.cleaned_data["version"],
            "fields": self.form.values(),
            "numbers": self.numbers.pairs(),
            "specifications": self.form.cleaned_data["specifications"].splitlines(),
            "packs": [row.pack() for row in self.packs.forms if row.has_changed()],
        }


def base_of(sort: str) -> str:
    """The base unit of a kind as the form offers it: "part each" is counted in each; the first kind is a fluid."""
    return sort.partition(" ")[2] or "L"


def _initial(item: Item | None, *, keep_name: bool) -> dict[str, Any]:
    if item is None:
        return {"sort": f"{Kind.FLUID} L"}
    names = ["brand", "location", "tax_class", "hazard", "open_days", "core_deposit"]
    names += ["name", "version", "price", "notes", "active"] if keep_name else []
    unit = " L" if item.measured else ""
    start = {name: getattr(item, name) for name in names}
    start |= {name: f"{plain_text(getattr(item, name))}{unit}" for name in ("minimum", "wanted") if getattr(item, name)}
    specifications = "\n".join(row.text for row in item.specifications.all())
    return {**start, "sort": f"{item.kind} {item.base_unit}", "specifications": specifications}


def _numbers(item: Item | None) -> list[dict[str, Any]]:
    return [{"kind": row.kind, "number": row.number} for row in item.numbers.all()] if item else []


def _packs(item: Item | None, like: Item | None) -> list[dict[str, Any]]:
    of = item or like
    rows = of.packs.filter(active=True) if of else ()
    return [
        {
            "label": row.label,
            "size": row.typed or plain_text(row.size),
            "barcode": row.barcode if item else "",
            "pk": row.pk if item else None,
        }
        for row in rows
    ]
