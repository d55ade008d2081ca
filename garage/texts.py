"""Texts and the room there is for them: what somebody wrote is never cut, it is asked for shorter."""

from garage.errors import Refused


def fitting(text: str, most: int, field: str | None = None) -> str:
    """The trimmed text, when it has room; Refused beside `field` when it is longer than `most` characters."""
    text = text.strip()
    if len(text) > most:
        raise Refused(f"This may have {most} characters and has {len(text)}: say it shorter.", field)
    return text


def shortened(text: str, most: int) -> str:
    """A text that the program made itself, such as a line of a list of finds; an ellipsis says that it goes on."""
    return text if len(text) <= most else f"{text[: most - 1]}…"
