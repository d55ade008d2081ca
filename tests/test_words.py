"""What the program says: plain words of the trade, one name for an act, a sentence of its own for every field."""

import importlib
import pkgutil
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django import forms
from django.utils import translation

import garage
import invoicing
import jobs
import parts
from garage import catalog, dates
from tests.visible import said_in_code, said_in_templates

ROOT = Path(__file__).resolve().parent.parent

# Words that were given up, with what is said instead

RETIRED = {
    "Write it up": "Write estimate",
    "Put it into the bay": "Start work",
    "See the steps": "Open steps",
    "Go on": "Continue",
    "Make the invoice": "Make invoice",
    "Issue the invoice": "Issue invoice",
    "Take it back": "Reverse payment",
    "Give back": "Refund",
    "Owed in all": "Total balance due",
    "paid too much": "overpaid",
    "Why so exact": "What is kept",
    "Noticed something": "Add recommendation",
    "Noticed for later": "Recommended work",
    "Noticed before": "Previously recommended",
    "Settle it": "Mark done, Dismiss, Open mail",
    "Bring back": "Return to shelf",
    "was drawn": "was taken from the shelf",
    "In words": "Findings",
    "Cannot do this": "Can’t do this",
    "Leave it out": "Skip step",
    "Keep the note": "Save note",
    "Keep the photo": "Save photo",
    "Open it again": "Reopen step",
    "Opened again": "Reopened",
    "Write it down": "Save count",
    "written down": "added, recorded, listed",
    "Empty ones too": "Show empties",
    "See what to order": "Order list",
    "Of it open": "In open containers",
    "In it": "Left",
    "Came": "Received, Arrived",
    "Came in": "Arrived",
    "Came out": "Drained",
    "Worth": "Value",
    "Each": "Unit price",
    "Stands": "Parked at",
    "Title and words": "Edit title and notes",
    "Or free": "Without a procedure",
    "Take up again": "Reopen job",
    "Finer kind": "Line type",
    "What stands on the car": "Plate and VIN",
    "Another owner": "Change owner",
    "nobody known": "New owner unknown",
    "Password until now": "Current password",
    "Last here": "Last login",
    "In the book since": "Customer since",
    "than signs": "characters",
    "signs of a VIN": "characters",
    "On the fluid": "Miles on fluid",
    "cannot be seen through": "opaque",
    "by distance": "mileage reached",
    "Take in a": "Import file",
    "Take in somebody": "New visit",
    "Look it over": "Check file",
    "Further": "Older, Next",
    "See it": "Open",
    "on a day to come": "in the future",
    "Nothing is known as": "Unknown placeholder",
    "had grown old": "This page expired",
    "this act": "this page or action",
    "work done by others": "Sublet",
    "Others’ work": "Sublet",
    "End it": "End rate",
    "Not taxed": "no row",
    "Credit note": "Credit memo",
    "credit note": "credit memo",
    "hold point": "must check first",
    "Movements": "Stock history",
    "Dear {customer}": "Hello {customer}",
    "Save it as it is": "Save anyway",
    "This field is required": "a sentence of its own",
}
#: Short ones are given up as a whole label only: inside a sentence they may be right.
AS_A_LABEL = {"Came", "Worth", "Each", "Stands", "In it", "Go on", "In words", "Further", "Not taxed", "Give back"}
#: The format of procedure files has words of its own.
FILE_FORMAT = {"jobs/procedure_schema.py", "jobs/procedure_files.py"}


def retired_in(text: str) -> list[str]:
    """The retired words in one thing that is said."""
    bare = re.sub(r"\s+", " ", text).strip()
    return [
        word
        for word in RETIRED
        if (bare.rstrip(":.") == word if word in AS_A_LABEL else re.search(rf"(?<!\w){re.escape(word)}(?!\w)", bare))
    ]


@pytest.mark.parametrize("label", ["Came", " Worth:", "What was drawn stays", "No credit note yet", "Take it back"])
def test_a_retired_word_is_found(label: str) -> None:
    assert retired_in(label)


@pytest.mark.parametrize("label", ["Came from Odile Marrant", "Each pack of a fluid", "Credit memo", "withdrawn"])
def test_what_is_well_said_is_not_taken_for_one(label: str) -> None:
    assert not retired_in(label)


def test_no_retired_word_is_said() -> None:
    said = [*said_in_templates(), *((place, text) for place, text in said_in_code() if place[0] not in FILE_FORMAT)]
    assert len(said) > 2500  # the reading itself works
    found = [f"{path}:{line}: {word} in “{text}”" for (path, line), text in said for word in retired_in(text)]
    assert not found, "\n".join(found)


# Every field that must be filled asks for it in a sentence of its own


def form_classes() -> Iterator[type[forms.BaseForm]]:
    """Every form of the program."""
    for app in (garage, parts, jobs, invoicing):
        for module in pkgutil.walk_packages(app.__path__, f"{app.__name__}."):
            if not re.search(r"\.(migrations|wsgi|settings|printing)", module.name):
                importlib.import_module(module.name)
    known, found = [forms.BaseForm], []
    while known:
        known = [child for one in known for child in one.__subclasses__()]
        found += [one for one in known if one.__module__.split(".")[0] in ("garage", "parts", "jobs", "invoicing")]
    return iter(dict.fromkeys(one for one in found if hasattr(one, "base_fields")))


def test_every_required_field_asks_in_a_sentence_of_its_own() -> None:
    classes = list(form_classes())
    assert len(classes) > 50
    default = str(forms.Field.default_error_messages["required"])
    silent = [
        f"{one.__module__}.{one.__qualname__}.{name}"
        for one in classes
        for name, field in one.base_fields.items()  # type: ignore[attr-defined]
        if field.required and not field.widget.is_hidden and str(field.error_messages["required"]) == default
    ]
    assert not silent, "\n".join(silent)


# Words and dates of a locale


@pytest.mark.parametrize("path", sorted(catalog.catalogs()), ids=lambda path: path.parents[1].name)
def test_a_compiled_catalog_is_what_its_text_says(path: Path) -> None:
    assert path.read_bytes() == catalog.catalogs()[path], "run manage.py catalogs"


def test_the_british_catalog_translates_what_is_said_and_keeps_its_placeholders() -> None:
    text = (ROOT / "locale/en_GB/LC_MESSAGES/django.po").read_text(encoding="utf-8")
    said = {" ".join(text.split()) for _place, text in [*said_in_templates(), *said_in_code()]}
    names = re.compile(r"%\(\w+\)s|\{\w+\}")
    for original, british in catalog.read(text).items():
        if original:
            assert set(names.findall(original)) == set(names.findall(british)), original
            assert all(" ".join(form.split()) in said for form in original.split("\0")), original


def test_the_british_say_it_their_way() -> None:
    with dates.speaking("en-GB"):
        assert (translation.gettext("Credit memo"), translation.gettext("Stock history")) == (
            "Credit note",
            "Stock movements",
        )
        assert translation.gettext("Enter a whole number.") == "Write a whole number, such as 14."
    with dates.speaking("en-US"):
        assert translation.gettext("Credit memo") == "Credit memo"
