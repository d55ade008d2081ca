"""The forms of the acts on a step, each with its own id and the step and version it was shown with."""

import uuid
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from garage.asking import AskingForm
from garage.forms import KEY_ATTRIBUTES, put_back
from garage.forms_fields import WholeNumberField, needed
from garage.units import label
from jobs.fluids import FIGURES, FLUIDS, THINGS
from jobs.models import FluidSample, JobStep, StepEvent
from jobs.readings import Spec, spec_of

WORDS = {"rows": 2}
#: How the words of a sample are shown; a color is its own label.
LABELS: dict[str, dict[str, str]] = {
    "clarity": {word.value: word.label for word in FluidSample.Clarity},
    "particles": {word.value: word.label for word in FluidSample.Particles},
    "smell": {word.value: word.label for word in FluidSample.Smell},
}
MOST_ACTS = 1_000_000
#: What a form sends that is not among the act's words: how it was asked for, and a second person's log-in.
NOT_KEPT = frozenset({"event", "shown", "base_version", "sure", "username", "password"})
#: The longest answers to what a form asked back.
MOST_ANSWERS = 200


class ActForm(forms.Form):
    """An act on a step: its own id makes a repeat harmless, the version says what was seen of the step.

    `shown` is the step that stood on the screen: an act that was meant for another one changes nothing.
    """

    event = forms.UUIDField(widget=forms.HiddenInput(KEY_ATTRIBUTES))
    shown = forms.IntegerField(widget=forms.HiddenInput, required=False)
    base_version = forms.IntegerField(widget=forms.HiddenInput, min_value=0, max_value=MOST_ACTS)

    def __init__(self, data: Any = None, *, step: JobStep) -> None:
        super().__init__(
            data,
            initial={"event": uuid.uuid4(), "shown": step.pk, "base_version": step.version},
            auto_id=f"id_{step.pk}_{self.kind}_%s",
        )
        self.step = step

    kind: str = StepEvent.Kind.TICK

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("shown") != self.step.pk:
            self.add_error(None, f"That was meant for another step, not for “{self.step}”: look at this one first.")
            put_back(self, "shown", str(self.step.pk))
        return cleaned

    def words(self) -> dict[str, str]:
        """What was typed, as the act keeps it."""
        return {
            name: str(value)
            for name, value in self.cleaned_data.items()
            if name not in NOT_KEPT and value not in (None, "")
        }


class AskingActForm(AskingForm, ActForm):
    """An act that may be asked back about: the answers are among its words."""

    def words(self) -> dict[str, str]:
        """What was typed, and the answers to what was asked back."""
        answers = self.data.get("as_it_is", "")
        return super().words() | ({"as_it_is": answers} if answers and len(answers) <= MOST_ANSWERS else {})


class TickForm(AskingActForm):
    """Done, with what was read and, where it lies outside its limits, why."""

    reading = forms.CharField(label="Reading", max_length=40, required=False)
    reason = forms.CharField(label="Why it is outside", max_length=200, required=False)
    sure = forms.CharField(required=False)

    def __init__(self, data: Any = None, *, step: JobStep) -> None:
        super().__init__(data, step=step)
        if not step.hold_point:
            del self.fields["sure"]
        self.spec: Spec | None = spec_of(step.written)
        if self.spec is None:
            del self.fields["reading"], self.fields["reason"]
        else:
            self.fields["reading"].label = f"{self.spec.name.capitalize()}, {label(self.spec.unit)}"
            self.fields["reading"].required = self.spec.required and not step.again
            if step.again:
                self.fields["reading"].help_text = "Leave it empty to keep what was read."
            self.fields["reading"].widget.attrs = {"inputmode": "decimal", "autocomplete": "off"}
            self.fields["reading"].error_messages["required"] = f"Type what was read: {self.spec.name}."

    def clean_sure(self) -> str:
        """A hold point takes a second tap, on another button."""
        if self.cleaned_data["sure"] != "yes":
            raise forms.ValidationError(f"Was “{self.step}” really checked? Confirm it with the second button.")
        return "yes"

    def add_error(self, field: str | None, error: Any) -> None:
        """A reason that is asked for is no longer optional."""
        if field == "reason":
            self.fields["reason"].required = True
        super().add_error(field, error)

    @property
    def asks_why(self) -> bool:
        """Whether the reading has turned out to need a reason."""
        return self.is_bound and "reason" in self.fields and bool(self.errors.get("reason") or self.data.get("reason"))


class SampleForm(TickForm):
    """What the drained fluid looks and smells like."""

    color = forms.ChoiceField(label="Color", widget=forms.RadioSelect, error_messages=needed("Tap what fits: color."))
    clarity = forms.ChoiceField(
        label="Clarity", widget=forms.RadioSelect, error_messages=needed("Tap what fits: clarity.")
    )
    particles = forms.ChoiceField(
        label="Particles", widget=forms.RadioSelect, error_messages=needed("Tap what fits: particles.")
    )
    smell = forms.ChoiceField(label="Smell", widget=forms.RadioSelect, error_messages=needed("Tap what fits: smell."))
    freeze_point = forms.CharField(
        label="Freezes at",
        max_length=40,
        required=False,
        help_text=_("By the refractometer, with its unit: −34 °F or −37 °C."),
    )
    water = forms.CharField(label="Water, %", max_length=40, required=False)
    boiling_point = forms.CharField(
        label="Boils at", max_length=40, required=False, help_text=_("By the tester, with its unit: 310 °F or 155 °C.")
    )
    distance = WholeNumberField(label="Distance on this fluid", required=False)
    notes = forms.CharField(label="Notes", max_length=1000, required=False, widget=forms.Textarea(WORDS))

    def __init__(self, data: Any = None, *, step: JobStep) -> None:
        super().__init__(data, step=step)
        assert step.written is not None  # asked by `act_form`
        fluid = FLUIDS[step.written.revision.fluid_kind]
        for thing in THINGS:
            if thing not in fluid.words:
                del self.fields[thing]
                continue
            offered = [(word, LABELS.get(thing, {}).get(word, word)) for word in fluid.words[thing]]
            field: Any = self.fields[thing]
            field.choices = offered
        for name in FIGURES:
            if name not in fluid.measured:
                del self.fields[name]


class SampleAnswerForm(forms.Form):
    """Who was told of what a sample showed, and what they said: the work goes on after it.

    It names the sample that it answers: an answer to one that was taken again meanwhile opens nothing.
    """

    sample = forms.IntegerField(widget=forms.HiddenInput, required=False)
    told = forms.CharField(label="Who was told", max_length=80, error_messages={"required": "Write who was told."})
    told_words = forms.CharField(
        label="What they said", max_length=200, error_messages={"required": "Write what they said."}
    )

    def __init__(self, data: Any = None, *, sample: FluidSample | None) -> None:
        super().__init__(data, initial={"sample": sample and sample.pk})
        self.standing = sample

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if self.standing is None:
            self.add_error(None, _("The step was reopened meanwhile: look at the fluid again."))
        elif cleaned.get("sample") != self.standing.pk:
            self.add_error(None, _("The fluid was looked at again meanwhile: read what it shows now, then ask again."))
            put_back(self, "sample", str(self.standing.pk))
        return cleaned


class SkipForm(ActForm):
    """Not done, and why."""

    kind = StepEvent.Kind.SKIP
    reason = forms.CharField(
        label="Why it cannot be done", max_length=200, error_messages=needed("Write why this is not done.")
    )


class CannotForm(ActForm):
    """The whole operation ends as not done, and why."""

    kind = StepEvent.Kind.CANNOT
    reason = forms.CharField(
        label="Why it can’t be done", max_length=200, error_messages={"required": "Write why it can’t be done."}
    )


class ConfirmForm(AskingActForm):
    """A second person answers for the step: why, and their own log-in, which is asked and not kept."""

    kind = StepEvent.Kind.CONFIRM
    reading = forms.CharField(label="Reading", max_length=40, required=False)
    reason = forms.CharField(
        label="Why it is confirmed like this",
        max_length=200,
        error_messages={"required": "Write why it is confirmed like this."},
    )
    username = forms.CharField(
        label="Second person’s login name",
        max_length=150,
        widget=forms.TextInput({"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}),
        error_messages={"required": "The second person types their login name."},
    )
    password = forms.CharField(
        label="Second person’s password",
        max_length=128,
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "off"}),
        error_messages={"required": "The second person types their password."},
    )

    def __init__(self, data: Any = None, *, step: JobStep) -> None:
        super().__init__(data, step=step)
        spec = spec_of(step.written)
        if spec is None:
            del self.fields["reading"]
        else:
            self.fields["reading"].label = f"{spec.name.capitalize()}, {label(spec.unit)}"
            self.fields["reading"].widget.attrs = {"inputmode": "decimal", "autocomplete": "off"}


class UntickForm(ActForm):
    """Open again, and why."""

    kind = StepEvent.Kind.UNTICK
    reason = forms.CharField(
        label="Why it is reopened", max_length=200, error_messages=needed("Write why it is reopened.")
    )


class NoteForm(ActForm):
    """A note on the step."""

    kind = StepEvent.Kind.NOTE
    text = forms.CharField(
        label="Note",
        max_length=1000,
        widget=forms.Textarea(WORDS),
        error_messages=needed("Write the note first."),
    )


def act_form(kind: str, step: JobStep, data: Any = None) -> ActForm:
    """The form of a kind of act on this step."""
    sample = step.written is not None and step.written.kind == "sample" and not step.again
    return (SampleForm if kind == StepEvent.Kind.TICK and sample else ACT_FORMS[kind])(data, step=step)


#: The acts that a person does, and their forms.
ACT_FORMS: dict[str, type[ActForm]] = {
    form.kind: form for form in (TickForm, SkipForm, UntickForm, NoteForm, CannotForm, ConfirmForm)
}
