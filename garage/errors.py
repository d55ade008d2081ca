"""What a verb answers when it may not do what it was asked."""


class Refused(ValueError):
    """The act is not allowed as asked; `str(error)` is a sentence for the person who asked.

    `field` names the form field the sentence belongs beside, when there is one.
    """

    def __init__(self, sentence: str, field: str | None = None) -> None:
        super().__init__(sentence)
        self.field = field
