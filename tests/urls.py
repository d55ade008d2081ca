"""Every address of the program, with an example of it and who may use it."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver, reverse

from garage.access import ROLES
from garage.models import Role

#: Open without a login, each for a reason.
PUBLIC = {
    "login": "here one logs in",
}
#: Where the owner meets no page in the crawl's garage, for a reason.
NOTHING_TO_SEE = {
    "login": "who is in is led on",
    "invoicing:job-pay": "leads to the payment, or to the sheet when nothing is owed",
    "jobs:line-amount": "asked with what was typed",
    "jobs:operation": "leads to its place on the sheet",
}
#: Addresses that a page only asks for together with what was typed into it.
ASKED_WITH_MORE = ("/lines/amount/",)
#: What stands for each kind of part in an address.
EXAMPLES: dict[str, Any] = {
    "int": 1,
    "uuid": "6d2c1f6e-6f0a-4f43-9a52-0d8a64a2b1aa",
    "str": "fluid",
    "slug": "fluid",
}
#: Addresses for which the first row of their kind is not the one to look at.
OTHER_ROWS = {
    "jobs:bay-draw": 2,  # the first line is labor
    "jobs:bay-return": 2,
    "parts:count": 2,  # the first item is a fluid, counted by its containers
}


@dataclass(frozen=True)
class Address:
    """One pattern of the resolver."""

    name: str
    url: str
    act: str | None
    public: bool
    piece: bool = False  #: htmx alone gets to see it; others are led to its page

    def allows(self, role: str) -> bool:
        return self.public or (self.act is not None and role in ROLES[self.act])


def addresses() -> list[Address]:
    """Every address by its name, static files and pieces of the framework left out."""
    return sorted(_walk(get_resolver().url_patterns, ""), key=lambda one: one.name)


def _walk(patterns: list[URLPattern | URLResolver], space: str) -> Iterator[Address]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            inner = f"{space}{pattern.namespace}:" if pattern.namespace else space
            yield from _walk(pattern.url_patterns, inner)
            continue
        assert pattern.name, f"{pattern.pattern} has no name"
        name = space + pattern.name
        kinds = {part: type(converter).__name__ for part, converter in pattern.pattern.converters.items()}
        examples = {part: EXAMPLES[kind.removesuffix("Converter").lower()] for part, kind in kinds.items()}
        if name in OTHER_ROWS:
            examples["pk"] = OTHER_ROWS[name]
        view = pattern.callback
        act = getattr(view, "act", None)
        yield Address(
            name,
            reverse(name, kwargs=examples),
            act,
            not getattr(view, "login_required", True),
            hasattr(view, "piece_of"),
        )


def role_table() -> str:
    """Who may use each address, as the committed tests/roles.csv has it."""
    lines = [",".join(["address", "act", "anonymous", *Role.values])]
    for one in addresses():
        marks = ["yes" if one.allows(role) else "no" for role in Role.values]
        lines.append(",".join([one.name, one.act or "public", "yes" if one.public else "log in", *marks]))
    return "\n".join(lines) + "\n"
