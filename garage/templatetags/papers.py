"""Files on a page: a document being made, ready to open, failed or erased; a photo."""

from django import template
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from garage.models import Document, StoredFile
from garage.templatetags.acts import document_status

register = template.Library()

#: A paper that was put off is a link like a finished one: its page has the act that makes it.
WORDS = {
    Document.State.LATER: "ready",
    Document.State.WANTED: "waiting",
    Document.State.MADE: "ready",
    Document.State.FAILED: "failed",
    Document.State.ERASED: "erased",
}


@register.simple_tag
def paper(document: Document, label: str = "") -> SafeString:
    """The document by its name (or `label`): a link once made; while it is being made the page asks each second."""
    return document_status(
        WORDS[Document.State(document.state)],
        reverse("document-status", args=[document.pk]),
        reverse("document", args=[document.pk]),
        label or document.name,
    )


@register.simple_tag
def picture(stored: StoredFile, alt: str, link: bool = False) -> SafeString:
    """A photo, as a link to itself where asked; the word "erased" where its bytes are."""
    if stored.erased_at is not None:
        return format_html('<span class="faint">{}</span>', _("Photo erased"))
    address = reverse("photo", args=[stored.pk])
    shown = format_html('<img src="{}" alt="{}" loading="lazy">', address, alt)
    return format_html('<a href="{}">{}</a>', address, shown) if link else shown
