"""What can be pressed and filled in: acts, forms, the number pad, and work that takes a while."""

import uuid
from collections.abc import Iterable
from typing import Any

from django import forms, template
from django.contrib.messages import constants
from django.contrib.messages.storage.base import Message
from django.forms.boundfield import BoundField
from django.template import Context
from django.utils.formats import get_format
from django.utils.html import format_html, format_html_join
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from garage import units
from garage.access import may
from garage.forms import KEY_ATTRIBUTES
from garage.markup import attributes, error_words, field_markup, is_figure, named
from garage.pressing import Act

register = template.Library()
register.filter("may", may)  # {% if user|may:"counter" %}


def _csrf(context: Context) -> SafeString:
    token = context.get("csrf_token") or ""
    if not token or token == "NOTPROVIDED":
        return SafeString("")
    return format_html('<input type="hidden" name="csrfmiddlewaretoken" value="{}">', token)


def _key_input(key: uuid.UUID | str) -> SafeString:
    return format_html('<input type="hidden" name="key" value="{}"{}>', key, attributes(KEY_ATTRIBUTES))


# What can be pressed


@register.simple_tag(takes_context=True)
def act(
    context: Context,
    label: str,
    *,
    href: str = "",
    post: str = "",
    quiet: bool = False,
    small: bool = False,
    of: Any = "",
    key: str = "",
    **attrs: Any,
) -> SafeString:
    """An act: a link (href), a form of its own (post), or the submit button of the form around it.

    `of` is what it belongs to, where a page has several with the same words; `key` is the key that the menu names.
    """
    label = named(label, of)
    if key:
        label = format_html('{} <kbd aria-hidden="true">{}</kbd>', label, key)
    css = "act" + " quiet" * quiet + " small" * small
    if href:
        return format_html('<a class="{}" href="{}"{}>{}</a>', css, href, attributes(attrs), label)
    if not post:
        attrs.setdefault("type", "submit")
        return format_html('<button class="{}"{}>{}</button>', css, attributes(attrs), label)
    on_form = {name: value for name, value in attrs.items() if name.startswith("hx_")}
    on_button = {name: value for name, value in attrs.items() if name not in on_form}
    return format_html(
        '<form method="post" action="{}"{}>{}{}<button class="{}"{}>{}</button></form>',
        post,
        attributes(on_form),
        _csrf(context),
        _key_input(uuid.uuid4()),
        css,
        attributes(on_button),
        label,
    )


@register.simple_tag(takes_context=True)
def row_act(context: Context, offered: Act | None, of: Any = "", quiet: bool = True, small: bool = True) -> SafeString:
    """The act that a row of a list offers, named with what it is done to (`of`); nothing where it offers none."""
    if offered is None:
        return SafeString("")
    return act(context, offered.label, href=offered.href, post=offered.post, quiet=quiet, small=small, of=of)


@register.simple_tag(takes_context=True)
def submit_key(context: Context) -> SafeString:
    """The hidden key that makes a form sent twice one act; a form shown again with errors keeps its key."""
    request = context.get("request")
    sent = request.POST.get("key", "") if request else ""
    try:
        return _key_input(uuid.UUID(sent))
    except ValueError:
        return _key_input(uuid.uuid4())


def _undo(context: Context, sentence: str, post: str) -> SafeString:
    """What was done, and a button that undoes it."""
    return format_html(
        '<div class="message"><span>{}</span>{}</div>',
        sentence,
        act(context, _("Undo"), post=post, quiet=True, small=True),
    )


@register.simple_tag(takes_context=True)
def message_line(context: Context, message: Message) -> SafeString:
    """One message of the program; extra_tags "undo:/address" puts an Undo button beside it."""
    tags = message.extra_tags or ""
    address = tags.removeprefix("undo:")
    if address != tags and url_has_allowed_host_and_scheme(address, allowed_hosts=None):
        return _undo(context, str(message), address)
    if message.level >= constants.WARNING:
        return format_html('<p class="message is-warn">{}</p>', message)
    return format_html('<p class="message">{}</p>', message)


# Forms


@register.simple_tag
def field(
    bound: BoundField,
    label: str | None = None,
    help: str | None = None,
    both: str = "",
    both_url: str = "",
    figure: bool | None = None,
    size: str = "",
    **attrs: Any,
) -> SafeString:
    """A labeled field with help, the other unit and its error; figures stand right-aligned."""
    numeric = is_figure(bound) if figure is None else figure
    classes = " ".join(filter(None, ["figure" if numeric else "", size]))
    return field_markup(bound, words=label, help_text=help, both=both, both_url=both_url, classes=classes, attrs=attrs)


@register.simple_tag
def fields(form: forms.BaseForm, *names: str) -> SafeString:
    """The named fields of a form, or all that show, in a grid; hidden ones go along when all are shown."""
    shown = [form[name] for name in names] or form.visible_fields()
    hidden = [] if names else form.hidden_fields()
    rows = format_html_join("", "{}", ((field(bound),) for bound in shown))
    return format_html(
        '{}<div class="fields">{}</div>', format_html_join("", "{}", ((bound,) for bound in hidden)), rows
    )


@register.simple_tag
def form_errors(*sheets: forms.BaseForm | Iterable[forms.BaseForm]) -> SafeString:
    """The summary over a form, or several: every error as a link to its field. Nothing when there is none."""
    given = [form for one in sheets for form in ([one] if isinstance(one, forms.BaseForm) else one)]
    rows = [(error,) for form in given for error in form.non_field_errors()]
    rows += [
        (format_html('<a href="#{}">{}: {}</a>', bound.auto_id or bound.html_name, bound.label, error_words(bound)),)
        for form in given
        for bound in form
        if bound.errors
    ]
    if not rows:
        return SafeString("")
    heading = _("Not saved yet. Please put this right:")
    return format_html(
        '<div class="errors" role="alert" tabindex="-1"><b class="wrong">{}</b><ul>{}</ul></div>',
        heading,
        format_html_join("", "<li>{}</li>", rows),
    )


@register.inclusion_tag("components/pad.html")
def pad(bound: BoundField, unit: str = "", label: str = "", both: str = "", both_url: str = "") -> dict[str, Any]:
    """A figure with a number pad for thumbs; without JavaScript it is a plain field.

    `unit` is the code of the unit that a bare number is in: it and its companion get keys of their own, so that a
    wrench that reads ft·lb is typed as it reads.
    """
    return {
        "bound": bound,
        "label": label or bound.label,
        "unit": unit,
        "units": units.pair(unit),
        "rows": ("123", "456", "789"),
        "point": get_format("DECIMAL_SEPARATOR"),
        "both": both,
        "both_url": both_url,
    }


# Work that takes a while


@register.simple_tag
def document_status(state: str, url: str, href: str = "", label: str = "") -> SafeString:
    """A document being made: asks `url` each second until the answer is no longer "waiting", and then stops."""
    name = label or _("Document")
    if state == "ready":
        return format_html('<span class="document" role="status"><a href="{}">{}</a></span>', href, name)
    if state == "failed":
        return format_html(
            '<span class="document wrong" role="status">{}</span>',
            _("%(name)s could not be made.") % {"name": name},
        )
    if state == "erased":
        return format_html('<span class="document faint" role="status">{} {}</span>', name, _("(erased)"))
    poll = attributes({"hx_get": url, "hx_trigger": "every 1s", "hx_swap": "outerHTML"})
    return format_html(
        '<span class="document waits" role="status"{}>{}</span>',
        poll,
        _("%(name)s is being made …") % {"name": name},
    )
