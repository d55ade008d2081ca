"""Forms with several like rows, such as the phones of a customer: more rows and fewer ones, also without JavaScript.

The buttons “add” and “remove” are submit buttons named `rows`. They send the whole form, which comes back with a row
more or less, nothing typed lost and nothing judged yet.
"""

from typing import Any, cast

from django import forms
from django.forms.formsets import INITIAL_FORM_COUNT, TOTAL_FORM_COUNT, BaseFormSet, formset_factory
from django.forms.utils import ErrorDict
from django.http import QueryDict

from garage.web import key_in

MOST = 20


class Lenient(forms.BaseForm):
    """A form that can be shown as typed without being judged."""

    judged = True

    def full_clean(self) -> None:
        if self.judged:
            super().full_clean()
        else:
            self._errors = ErrorDict()


class Row(Lenient, forms.Form):
    """One row; left empty it stands for nothing. A subclass says which fields make it count."""

    def pair(self) -> tuple[str, str]:
        """The row's two values."""
        first, second = (str(self.cleaned_data.get(name) or "") for name in list(self.fields)[:2])
        return first, second


class BaseRows(BaseFormSet):
    """Rows of which any may be emptied; where there is none yet, one to write into."""

    shortened = False

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.is_bound:
            self.initial = None  # a row that stood before and comes back empty is gone
        self.extra = len(self.initial or []) or 1

    def initial_form_count(self) -> int:
        return 0

    def pairs(self) -> list[tuple[str, str]]:
        """The values of the rows that say something."""
        return [form.pair() for form in self.forms if form.has_changed()]

    def spare(self, pressed: str) -> None:
        """Show the rows without judging them; the focus goes where the pressed button worked on these rows."""
        for form in self.forms:
            form.judged = False
        self.shortened = pressed.startswith(f"remove {self.prefix} ")
        if pressed == f"add {self.prefix}":
            first = next(iter(self.forms[-1].fields.values()))
            first.widget.attrs["autofocus"] = True


def rows_of(row: type[Row]) -> type[BaseRows]:
    """A set of such rows, 20 at most."""
    return cast(type[BaseRows], formset_factory(row, formset=BaseRows, max_num=MOST, absolute_max=MOST))


def rearranged(data: QueryDict) -> QueryDict | None:
    """The typed data with a row more or less, as the pressed button says (`add phones`, `remove phones 1`).

    None when no such button was pressed.
    """
    act, _, rest = data.get("rows", "").partition(" ")
    prefix, _, index = rest.partition(" ")
    count = key_in(data.get(f"{prefix}-{TOTAL_FORM_COUNT}", ""))
    if act not in ("add", "remove") or count is None:
        return None
    new, total, at = data.copy(), min(count, MOST), key_in(index)
    if act == "add":
        total = min(total + 1, MOST)
    elif at is not None and at < total:
        _close_gap(new, prefix, at, total)
        total -= 1
    new[f"{prefix}-{TOTAL_FORM_COUNT}"] = str(total)
    new[f"{prefix}-{INITIAL_FORM_COUNT}"] = "0"
    return new


def _close_gap(data: QueryDict, prefix: str, index: int, total: int) -> None:
    """Take the rows after `index` one place up."""
    for at in range(index, total):
        here, following = f"{prefix}-{at}-", f"{prefix}-{at + 1}-"
        for name in [name for name in data if name.startswith(here)]:
            del data[name]
        for name in [name for name in data if name.startswith(following)]:
            data.setlist(here + name.removeprefix(following), data.getlist(name))
