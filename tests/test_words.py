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
from tests.retired import retired_in
from tests.visible import said_in_code, said_in_templates

ROOT = Path(__file__).resolve().parent.parent

# Words that were given up

#: The format of procedure files has words of its own.
FILE_FORMAT = {"jobs/procedure_schema.py", "jobs/procedure_files.py"}


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


# One act has one name: on the button, on the page it opens, on the button there, and in what is said after it

#: Button, the template of the page it opens, the button there where it is another, and the message with its file.
ACTS = [
    ("Record payment", "invoicing/money_in.html", "", ("invoicing/views/payments.py", "recorded")),
    ("Reverse payment", "invoicing/payment_reverse.html", "", None),
    (
        "Record authorization",
        "invoicing/authorize.html",
        "Save authorization",
        ("invoicing/views/authorize.py", "Authorization saved."),
    ),
    (
        "Issue credit memo",
        "invoicing/credit.html",
        "",
        ("invoicing/views/invoices.py", "Credit memo %(number)s is issued."),
    ),
    (
        "Close without invoice",
        "invoicing/job_close.html",
        "",
        ("invoicing/views/unbilled.py", "is closed without an invoice."),
    ),
    ("Make invoice", "invoicing/invoice_make.html", "Issue invoice", ("invoicing/views/invoices.py", "is issued.")),
    ("Record odometer", "garage/odometer.html", "", ("garage/views/vehicles.py", "Odometer recorded")),
    ("Change owner", "garage/vehicle_owner.html", "", None),
    ("Edit customer", "garage/customer_edit.html", "Save customer", ("garage/views/customers.py", "is saved.")),
    ("Edit vehicle", "garage/vehicle_edit.html", "Save vehicle", ("garage/views/vehicles.py", "is saved.")),
    ("Correct reading", "jobs/reading_correct.html", "", ("jobs/views/readings.py", "The reading is corrected.")),
    ("Add recommendation", "jobs/advisory.html", "", ("jobs/views/samples.py", "Recommendation added")),
    ("Write findings", "jobs/bay_findings.html", "Save findings", None),
    ("Finish job", "jobs/bay_finish.html", "", ("jobs/views/bay.py", "is finished.")),
    ("Cancel job", "jobs/job_cancel.html", "", ("jobs/views/sheet.py", "is canceled.")),
    ("Add operation", "jobs/operation_add.html", "", None),
    ("New visit", "jobs/intake.html", "Check in", ("jobs/views/intake.py", "is checked in.")),
    ("Import file", "jobs/procedure_file.html", "Check file", None),
    ("Receive delivery", "parts/receive.html", "", ("parts/views/receiving.py", "Delivery received")),
    ("Undo delivery", "parts/receipt_undo.html", "", ("parts/views/receiving.py", "The delivery is undone.")),
    ("Enter opening stock", "parts/opening.html", "", ("parts/views/containers.py", "opening stock entered")),
    ("Count stock", "parts/count.html", "Save count", None),
    ("Add price", "parts/price_new.html", "", ("parts/views/suppliers.py", "The price is added.")),
    ("Edit item", "parts/item_edit.html", "Save item", ("parts/views/items.py", "is saved.")),
    ("Erase customer", "garage/forget.html", "", ("garage/views/forgetting.py", "Erased.")),
]


@pytest.mark.parametrize(("button", "page", "there", "after"), ACTS, ids=[row[0] for row in ACTS])
def test_an_act_has_one_name(button: str, page: str, there: str, after: tuple[str, str] | None) -> None:
    said = [(place[0].removeprefix("templates/"), text) for place, text in said_in_templates()]
    assert any(text == button and template != page for template, text in said), "no button leads there"
    on_page = [text.lower() for template, text in said if template == page]
    assert any(button.lower() in text for text in on_page), on_page
    assert (there or button).lower() in on_page, on_page
    if after:
        path, words = after
        assert any(words in text for place, text in said_in_code() if place[0] == path)


# Words and dates of a locale


@pytest.mark.parametrize("path", sorted(catalog.catalogs()), ids=lambda path: path.parents[1].name)
def test_a_compiled_catalog_is_what_its_text_says(path: Path) -> None:
    assert path.read_bytes() == catalog.catalogs()[path], "run manage.py catalogs"


def test_the_british_catalog_translates_what_is_said_and_keeps_its_placeholders() -> None:
    text = (ROOT / "locale/en_GB/LC_MESSAGES/django.po").read_text(encoding="utf-8")
    said = {" ".join(text.split()) for _place, text in [*said_in_templates(), *said_in_code(words=True)]}
    names = re.compile(r"%\(\w+\)s|\{\w+\}")
    for original, british in catalog.read(text).items():
        if original:
            assert set(names.findall(original)) == set(names.findall(british)), original
            assert all(" ".join(form.split()) in said for form in original.split("\0")), original


def test_the_british_say_it_their_way() -> None:
    with dates.speaking("en-GB"):
        assert translation.gettext("Credit memo") == "Credit note"
        assert translation.gettext("Stock history") == "Stock movements"
        assert translation.gettext("Enter a whole number.") == "Write a whole number, such as 14."
    with dates.speaking("en-US"):
        assert translation.gettext("Credit memo") == "Credit memo"
