"""Asking back about what is unusual and may still be right, before it is saved."""

from collections.abc import Iterable, Sequence
from typing import Any

from django import forms

from garage.errors import Questions
from garage.ledger import digest


def answer_to(questions: Sequence[str]) -> str:
    """What says yes to these very questions: the digest of them, so that it answers no later ones."""
    return digest(list(questions))[:16] if questions else ""


def answered(questions: Sequence[str], as_it_is: str) -> bool:
    """Whether there is nothing to ask, or the answers that came (`as_it_is`) say yes to these very questions."""
    return not questions or answer_to(questions) in as_it_is.split()


def settle(questions: Sequence[str], as_it_is: str, instead: str = "") -> None:
    """Raise Questions unless they were answered: `as_it_is` are the answers that came with the act."""
    if not answered(questions, as_it_is):
        raise Questions(questions, instead)


#: What the other way's button sends beside the answer.
INSTEAD = "instead"


def instead_taken(as_it_is: str) -> bool:
    """Whether the other way that a question offered was chosen."""
    return INSTEAD in as_it_is.split()


class Asked:
    """The questions of several forms that are saved together, answered with one tap."""

    def __init__(self, forms_asking: "Iterable[AskingForm]", errors: bool) -> None:
        asking = [form for form in forms_asking if form.questions]
        self.questions = [question for form in asking for question in form.questions]
        self.answer = " ".join(form.answer for form in asking)
        self.instead = next((form.instead for form in asking if form.instead), "")
        self.errors = errors

    @property
    def other_way(self) -> str:
        """What the button of the other way sends: it answers what else was asked too."""
        return f"{self.answer} {INSTEAD}"


class AskingForm(forms.BaseForm):
    """A form that may ask back: it is valid once every question has been answered with “save anyway”.

    `clean` calls `ask`, or the verb raises `Questions`, which `web.attempt` puts here. The template shows the
    questions with `components/questions.html`.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.questions: list[str] = []
        self.instead = ""

    def full_clean(self) -> None:
        self.questions = []
        super().full_clean()

    def ask(self, question: str) -> None:
        """Ask about something before it is saved."""
        self.questions.append(question)

    @property
    def answer(self) -> str:
        """What the button “save anyway” sends; the other way, once chosen, stays chosen."""
        chosen = [INSTEAD] if instead_taken(self.data.get("as_it_is", "")) else []
        return " ".join([answer_to(self.questions), *chosen]) if self.questions else ""

    @property
    def other_way(self) -> str:
        """What the button of the other way sends."""
        return f"{self.answer} {INSTEAD}"

    def is_valid(self) -> bool:
        return super().is_valid() and answered(self.questions, self.data.get("as_it_is", ""))
