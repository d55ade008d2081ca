"""Form pieces that every app uses: the client's key, and quantities typed in any unit."""

import re
import uuid
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator
from django.db.models import PositiveSmallIntegerField
from django.http import QueryDict

from garage import units
from garage.forms_fields import PlainDecimalField
from garage.money import round_money

NINE_PLACES = Decimal("1e-9")
LARGEST = Decimal("1e9")


#: Of every hidden key. autocomplete off: a reload must not bring an old key back, or the next act would pass for a
#: repeat of the last. data-once: app.js renews it on a page that Back brings out of the browser's memory.
KEY_ATTRIBUTES = {"autocomplete": "off", "data-once": True}


class KeyForm(forms.Form):
    """A form that moves money or stock: its key makes a double tap one act (`idempotency.once`)."""

    key = forms.UUIDField(widget=forms.HiddenInput(KEY_ATTRIBUTES), initial=uuid.uuid4)


def put_back(form: forms.BaseForm, name: str, value: str = "") -> None:
    """Let a form that is shown again come back with `value` in a field, whatever was sent in it; "" leaves it empty."""
    data = cast(QueryDict, form.data).copy()
    data[form.add_prefix(name)] = value
    form.data = data


#: What a small number, days above all, can be: SQLite would take one that no calendar reaches.
LARGEST_SMALL = 9999


class FieldsForm(forms.ModelForm):
    """A form with the fields of a model. The row itself stays untouched: a verb writes it by its own rules."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for column in self._meta.model._meta.concrete_fields:
            if isinstance(column, PositiveSmallIntegerField) and column.name in self.fields:
                self.fields[column.name].validators.append(MaxValueValidator(LARGEST_SMALL))

    def _post_clean(self) -> None:
        """Neither fill the row nor ask its constraints, which would answer in the database's words."""


class MoneyFormField(PlainDecimalField):
    """An amount of money with at most two places."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"max_places": 2, **kwargs})


class UnitPriceFormField(PlainDecimalField):
    """A price per unit with at most six places."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"max_places": 6, **kwargs})


@dataclass(frozen=True)
class Typed:
    """A quantity in the base unit, rounded half-up to nine places, beside what was typed."""

    value: Decimal
    text: str
    unit: str


class QuantityFormField(forms.CharField):
    """A quantity as people type it (`0.85`, `0,85 L`, `850 ml`, `3/4 qt`), cleaned to `Typed` in the base unit.

    `base` is `L`, `each` or `h` (hours also as `1:30` or `45 min`); a number alone is in `default_unit`, or the base.
    Pieces (`each`) are whole unless `whole` is False: a charge may be half of one.
    """

    def __init__(
        self,
        *,
        base: str,
        default_unit: str | None = None,
        allow_zero: bool = False,
        whole: bool = True,
        **kwargs: Any,
    ) -> None:
        self.base, self.default_unit, self.allow_zero, self.whole = base, default_unit or base, allow_zero, whole
        super().__init__(**{"max_length": 40, **kwargs})

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {**super().widget_attrs(widget), "autocomplete": "off", "class": "n"}

    def prepare_value(self, value: Any) -> Any:
        return (
            value.text
            if isinstance(value, Typed)
            else f"{value.normalize():f}"
            if isinstance(value, Decimal)
            else value
        )

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        return self._typed(text) if text else None

    def _typed(self, text: str) -> Typed:
        try:
            if self.base == "h":
                unit, amount = "h", _hours(text)
            else:
                number, unit = units.parse_quantity(text, self.default_unit)
                amount = units.convert(number, unit, self.base)
        except ValueError as error:
            raise ValidationError(str(error)) from None
        value = amount.quantize(NINE_PLACES, rounding=ROUND_HALF_UP)
        if value >= LARGEST:
            raise ValidationError("That is more than this field can hold.")
        if self.base == "each" and self.whole and value % 1:
            raise ValidationError("Pieces are counted whole: write 1 or 2.")
        if value == 0 and not self.allow_zero:
            raise ValidationError("Must be more than zero.")
        return Typed(value, text, unit)


def _hours(text: str) -> Decimal:
    """Hours from `1.5`, `1 1/2 hr`, `1:30` or `45 min`, minutes to a hundredth of an hour; ValueError for others."""
    if clock := re.fullmatch(r"(\d{1,4}):([0-5]\d)(?: ?hr?)?", text.strip(), re.ASCII):
        return int(clock[1]) + round_money(Decimal(clock[2]) / 60)
    minutes = re.fullmatch(r"(.+?) ?min", text.strip())
    number = re.sub(r" ?(h|hr|hrs)$", "", text.strip().lower())
    try:
        amount, unit = units.parse_quantity(minutes[1] if minutes else number, "each")
    except ValueError:
        amount, unit = Decimal(0), ""
    if unit != "each":
        raise ValueError(f"“{text}” is not understood: write hours like 0.75, 1 1/2, 1:30 or 45 min.")
    return round_money(amount / 60) if minutes else amount
