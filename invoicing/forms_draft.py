"""Forms of a draft: what is asked before an invoice is issued. What may not be is said by the verbs."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms

from garage.forms import KeyForm, MoneyFormField
from garage.forms_fields import DayField, needed
from invoicing.forms import ClockReasonField
from invoicing.leaving import LeftOut
from jobs.models import SkippedAnswer
from jobs.skipped import Asked, mark_of


class IssueForm(KeyForm):
    """When an invoice is due, where it shall be mailed, and a tick for each finished work that it leaves out.

    `shown` is the total that the page showed, which its template writes anew whatever was sent.
    """

    shown = MoneyFormField(widget=forms.HiddenInput, required=False)

    due_on = DayField(label="Due on", error_messages=needed("Choose the day it is due."))
    mail_to = forms.EmailField(label="Mail it to", required=False, help_text="Empty: it is not mailed.")
    told = forms.CharField(
        label="Who was told of the new tax", max_length=200, required=False, help_text="Name, how and when; printed."
    )
    clock_reason = ClockReasonField()

    def __init__(self, data: Any = None, *, left_out: Sequence[LeftOut] = (), **more: Any) -> None:
        super().__init__(data, **more)
        self.left_out = left_out
        for row in left_out:
            self.fields[f"leave_{row.operation}"] = forms.BooleanField(
                label=f"Leave “{row.title}” off this invoice", required=False
            )

    def ticks(self) -> list[tuple[LeftOut, forms.BoundField]]:
        """What is left out, with its tick."""
        return [(row, self[f"leave_{row.operation}"]) for row in self.left_out]

    def values(self) -> dict[str, Any]:
        """What the verb takes."""
        given = {
            name: self.cleaned_data[name] for name in ("key", "shown", "due_on", "mail_to", "told", "clock_reason")
        }
        ticked = [row.operation for row in self.left_out if self.cleaned_data[f"leave_{row.operation}"]]
        return {**given, "leaving_out": ticked}


class OnlyAuthorizedForm(KeyForm):
    """What would come off the bill before tax, as the page showed it."""

    amount = MoneyFormField(widget=forms.HiddenInput, minimum=Decimal("0.01"))


class CloseForm(forms.Form):
    """Why a finished job is closed without an invoice."""

    reason = forms.CharField(
        label="Why nothing is billed", max_length=160, error_messages=needed("Write why nothing is billed.")
    )


#: How work with skipped steps can be billed, in the words of the counter.
HOW_BILLED = [
    (SkippedAnswer.Choice.DONE, "Bill it as written: it was done another way"),
    (SkippedAnswer.Choice.LESS, "Bill less: lower its hours or quantities on the job next"),
    (SkippedAnswer.Choice.NONE, "Do not bill it"),
]


class SkippedForm(forms.Form):
    """How work of which steps were skipped is billed, and what was done; nothing is chosen beforehand."""

    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    choice = forms.ChoiceField(
        label="How is it billed?",
        choices=HOW_BILLED,
        widget=forms.RadioSelect,
        error_messages=needed("Choose how it is billed."),
    )
    words = forms.CharField(
        label="What was done instead, or why",
        max_length=500,
        widget=forms.Textarea({"rows": 2}),
        help_text="The customer reads it on the invoice.",
        error_messages=needed("Write what was done instead, or why."),
    )

    def __init__(self, data: Any = None, *, asked: Asked) -> None:
        initial = {"seen": mark_of(asked.operation)}
        super().__init__(data, initial=initial, auto_id=f"id_{asked.operation.pk}_%s")
        self.asked = asked
