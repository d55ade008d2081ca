"""What a verb answers when it may not do what it was asked."""

from collections.abc import Sequence


class Refused(ValueError):
    """The act is not allowed as asked; `str(error)` is a sentence for the person who asked.

    `field` names the form field the sentence belongs beside, when there is one.
    """

    def __init__(self, sentence: str, field: str | None = None) -> None:
        super().__init__(sentence)
        self.field = field


class Questions(Refused):
    """The act is unusual and may still be right: it is done once these very questions were answered with yes.

    `instead` names another way, which the form offers beside the yes; empty where there is none.
    """

    def __init__(self, questions: Sequence[str], instead: str = "") -> None:
        super().__init__(" ".join(questions))
        self.questions, self.instead = list(questions), instead
