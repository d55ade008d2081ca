"""HTML pieces in Python: attributes and form fields, escaped, and nothing that the strict CSP would refuse."""

import json
import re
from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

_INLINE = re.compile(r"^(on|style$|hx-on)")


def attributes(given: dict[str, Any]) -> SafeString:
    """Write HTML attributes, each with a leading space; underscores in names become dashes.

    None, False and "" are left out, True is written bare. Inline handlers and styles are a ValueError:
    the Content-Security-Policy would drop them without a word.
    """
    named = {name.rstrip("_").replace("_", "-"): value for name, value in given.items()}
    if inline := [name for name in named if _INLINE.match(name)]:
        raise ValueError(f"{inline[0]} is an inline handler or style, which the content policy forbids")
    kept = [(name, value) for name, value in named.items() if value is not None and value is not False and value != ""]
    return format_html_join(
        "",
        "{}",
        ((format_html(" {}" if value is True else ' {}="{}"', name, value),) for name, value in kept),
    )


def named(words: str, of: Any) -> SafeString | str:
    """Words and, for whoever hears them alone, what they belong to: “Change: Oil filter”."""
    return format_html('{}<span class="visually-hidden">: {}</span>', words, of) if of else words


def is_figure(bound: BoundField) -> bool:
    """Whether a field holds a number, which is written right-aligned."""
    attrs = bound.field.widget.attrs
    return isinstance(bound.field, forms.IntegerField) or attrs.get("inputmode") in {"decimal", "numeric"}


def error_id(bound: BoundField) -> str:
    """The id of the sentence that says what is wrong with a field."""
    return f"{bound.auto_id or bound.html_name}_error"


def error_words(bound: BoundField) -> str:
    """What is wrong with a field, in one line."""
    return " ".join(str(error) for error in bound.errors)


def control(bound: BoundField, help_text: str, both: bool, attrs: dict[str, Any]) -> SafeString:
    """The field's widget, tied to its help, its other unit and its error for screen readers."""
    base = bound.auto_id or bound.html_name
    described = [f"{base}_both"] * both + [f"{base}_helptext"] * bool(help_text)
    if bound.errors:
        described.append(error_id(bound))
    extra = {name.replace("_", "-"): value for name, value in attrs.items()}
    if described:
        extra["aria-describedby"] = " ".join(described)
    if bound.errors:
        extra["aria-invalid"] = "true"
    if is_figure(bound):
        extra.setdefault("inputmode", bound.field.widget.attrs.get("inputmode", "numeric"))
    return bound.as_widget(attrs=extra)


def label(bound: BoundField, text: str | None) -> SafeString:
    """The words of a field's label; what may stay empty says so."""
    words = bound.label if text is None else text
    if bound.field.required or isinstance(bound.field, forms.BooleanField):
        return format_html("{}", words)
    return format_html('{} <span class="optional">{}</span>', words, _("optional"))


def other_unit(bound: BoundField, both: str, both_url: str) -> SafeString:
    """The same value in the other unit, asked from the server while somebody types when there is an address for it."""
    if not both and not both_url:
        return SafeString("")
    base = bound.auto_id or bound.html_name
    live: dict[str, Any] = {}
    if both_url:
        live = {
            "hx_get": both_url,
            "hx_trigger": f"input changed delay:250ms from:#{base}",
            "hx_include": f"#{base}",
            "hx_vals": json.dumps({"field": bound.html_name}),
        }
    return format_html('<output class="both" id="{}_both" for="{}"{}>{}</output>', base, base, attributes(live), both)


def after(bound: BoundField, help_text: str) -> SafeString:
    """Help and error under a field."""
    base = bound.auto_id or bound.html_name
    said = SafeString("")
    if help_text:
        said += format_html('<p class="help" id="{}_helptext">{}</p>', base, help_text)
    if bound.errors:
        said += format_html('<p class="wrong" id="{}">{}</p>', error_id(bound), error_words(bound))
    return said


def field_markup(
    bound: BoundField,
    *,
    words: str | None,
    help_text: str | None,
    both: str,
    both_url: str,
    classes: str,
    attrs: dict[str, Any],
) -> SafeString:
    """A labeled field with its other unit, help and error."""
    help_words = str(bound.help_text) if help_text is None else help_text
    parts = (
        f"field {classes} is-wrong" if bound.errors else f"field {classes}",
        bound.id_for_label or bound.auto_id,
        label(bound, words),
        control(bound, help_words, bool(both or both_url), attrs),
        other_unit(bound, both, both_url),
        after(bound, help_words),
    )
    if isinstance(bound.field.widget, forms.CheckboxInput):
        return format_html('<div class="{0} tick">{3}<label for="{1}">{2}</label>{4}{5}</div>', *parts)
    if bound.field.widget.use_fieldset:
        return format_html(
            '<fieldset class="{0} choices"{6}><legend>{2}</legend><div>{3}</div>{4}{5}</fieldset>',
            *parts,
            described(bound, help_words),
        )
    return format_html('<div class="{0}"><label for="{1}">{2}</label>{3}{4}{5}</div>', *parts)


def described(bound: BoundField, help_text: str) -> SafeString:
    """aria-describedby for a group of choices, whose single inputs do not carry it."""
    base = bound.auto_id or bound.html_name
    ids = [f"{base}_helptext"] * bool(help_text) + [error_id(bound)] * bool(bound.errors)
    return attributes({"aria_describedby": " ".join(ids)})
