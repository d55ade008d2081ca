"""Form fields for money, quantities and distances, that take what people type and answer with a clear sentence."""

import datetime as dt
import re
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError


def needed(sentence: str) -> dict[str, str]:
    """The `error_messages` of a field that must be filled: what to do, said to the person who left it empty."""
    return {"required": sentence}


def plain_text(value: Decimal, *, least: int = 0) -> str:
    """A Decimal without an exponent and without idle zeros, with at least so many places: 1.40 → 1.4, 1E+2 → 100."""
    whole, _, fraction = f"{value:f}".partition(".")
    fraction = fraction.rstrip("0").ljust(least, "0")
    return f"{whole}.{fraction}" if fraction else whole


class PlainDecimalField(forms.Field):
    """A plain decimal number, with a point or a lone comma as the decimal sign."""

    widget = forms.TextInput

    def __init__(self, *, max_places: int = 9, minimum: Decimal | None = None, **kwargs: Any) -> None:
        self.max_places, self.minimum = max_places, minimum
        super().__init__(**kwargs)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {"inputmode": "decimal", "autocomplete": "off", "class": "n"}

    def prepare_value(self, value: Any) -> Any:
        least = 2 if self.max_places in (2, 6) else 0
        return plain_text(value, least=least) if isinstance(value, Decimal) else value

    def to_python(self, value: Any) -> Decimal | None:
        if value in self.empty_values:
            return None
        text = re.sub(r"[\u00a0\u202f]", " ", str(value)).strip().replace("−", "-")
        if re.fullmatch(r"-?\d{1,3}( \d{3})+([.,]\d*)?", text):  # 12 50 is as likely 12.50: only thousands stand apart
            text = text.replace(" ", "")
        if text.count(",") == 1 and "." not in text and len(text.partition(",")[2]) != 3:
            text = text.replace(",", ".")
        elif re.fullmatch(r"-?\d{1,3}(,\d{3})+\.\d*", text):  # as the program itself writes money: 1,234.50
            text = text.replace(",", "")
        if not re.fullmatch(r"-?(\d+\.?\d*|\.\d+)", text, re.ASCII):
            raise ValidationError(f"“{value}” is not a number. Write it like 12.50.")
        number = Decimal(text)
        if abs(number) >= Decimal("1e9"):
            raise ValidationError(f"“{value}” is not a number this field can hold.")
        if -int(number.as_tuple().exponent) > self.max_places:
            raise ValidationError(f"At most {self.max_places} places after the point.")
        if self.minimum is not None and number < self.minimum:
            raise ValidationError(f"Not less than {self.minimum}.")
        return number


class WholeNumberField(forms.Field):
    """A whole number as people type it: 84210, 84,210 or 84 210. A part after a point is asked about, not cut off."""

    widget = forms.TextInput

    def __init__(self, *, minimum: int = 0, maximum: int = 9_999_999, **kwargs: Any) -> None:
        self.minimum, self.maximum = minimum, maximum
        super().__init__(**kwargs)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {"inputmode": "numeric", "autocomplete": "off", "class": "n"}

    def to_python(self, value: Any) -> int | None:
        if value in self.empty_values:
            return None
        text = str(value).strip()
        if re.fullmatch(r"\d+[.,]\d{1,2}|\d{1,3}([, \u00a0]\d{3})+\.\d+", text):
            raise ValidationError(f"“{value}”: write it whole, without tenths.")
        if not re.fullmatch(r"\d+|\d{1,3}([, \u00a0]\d{3})+", text, re.ASCII):
            raise ValidationError(f"“{value}” is not a whole number.")
        number = int(re.sub(r"\D", "", text)) if len(text) < 30 else self.maximum + 1
        if not self.minimum <= number <= self.maximum:
            raise ValidationError(f"From {self.minimum:,} to {self.maximum:,}.")
        return number


FIRST_YEAR, LAST_YEAR = 1900, 2999


def in_living_memory(day: dt.date) -> None:
    """Refuse a slip such as the year 0206 or 20266: beyond them no calendar reaches, and sums of days overflow."""
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise ValidationError(f"The year must be from {FIRST_YEAR} to {LAST_YEAR}.")


class DayField(forms.DateField):
    """A day from 1900 to 2999, with the browser's own calendar."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
        super().__init__(**{"widget": widget, **kwargs})
        self.validators.append(in_living_memory)
