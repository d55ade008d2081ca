"""Asking back about what is unusual and may still be right, before it is saved."""

from collections.abc import Iterable
from typing import Any

from django import forms

from garage.ledger import digest


class Asked:
    """The questions of several forms that are saved together, answered with one tap."""

    def __init__(self, forms_asking: "Iterable[AskingForm]", errors: bool) -> None:
        asking = [form for form in forms_asking if form.questions]
        self.questions = [question for form in asking for question in form.questions]
        self.answer = " ".join(form.answer for form in asking)
        self.errors = errors


class AskingForm(forms.BaseForm):
    """A form that may ask back: it is valid once every question has been answered with “save anyway”.

    `clean` calls `ask`. The answer is the digest of the very questions shown, so that it answers no later ones.
    The template shows the questions with `components/questions.html`.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.questions: list[str] = []

    def full_clean(self) -> None:
        self.questions = []
        super().full_clean()

    def ask(self, question: str) -> None:
        """Ask about something before it is saved."""
        self.questions.append(question)

    @property
    def answer(self) -> str:
        """What the button “save anyway” sends."""
        return digest(self.questions)[:16] if self.questions else ""

    def is_valid(self) -> bool:
        return super().is_valid() and (not self.questions or self.answer in self.data.get("as_it_is", "").split())
