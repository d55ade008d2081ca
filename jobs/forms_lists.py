"""What narrows the lists at the counter: jobs by what they wait for, services due by day and component."""

import datetime as dt

from django import forms

from jobs.models import Component, Stage


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


class DueFilter(forms.Form):
    """The services due, narrowed to how soon, and to one component."""

    WITHIN = (("overdue", "overdue"), ("30", "in 30 days"), ("90", "in 90 days"), ("all", "whenever"))
    DEFAULT = "30"

    within = forms.ChoiceField(label="Due", choices=WITHIN, required=False, initial=DEFAULT)
    part = forms.ModelChoiceField(
        label="Component", queryset=Component.objects.order_by("name"), required=False, empty_label="any"
    )

    @property
    def component(self) -> int | None:
        """The component chosen."""
        chosen = self.cleaned_data.get("part") if self.is_valid() else None
        return chosen.pk if chosen is not None else None

    def until(self, today: dt.date) -> dt.date | None:
        """The last day looked at; None for all days. What is overdue is in each choice."""
        self.is_valid()
        within = getattr(self, "cleaned_data", {}).get("within") or self.DEFAULT
        if within == "all":
            return None
        return today + dt.timedelta(-1 if within == "overdue" else int(within))
