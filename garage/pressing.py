"""What can be pressed beside a row of a list."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Act:
    """An act that a list offers: its words, and the page it opens (`href`) or the address that does it (`post`)."""

    label: str
    href: str = ""
    post: str = ""
