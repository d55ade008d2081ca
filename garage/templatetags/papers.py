"""A document's state on a page: being made, ready to open, or failed."""

from django import template
from django.urls import reverse
from django.utils.safestring import SafeString

from garage.models import Document
from garage.templatetags.acts import document_status

register = template.Library()

#: A paper that was put off is a link like a finished one: its page has the act that makes it.
WORDS = {
    Document.State.LATER: "ready",
    Document.State.WANTED: "waiting",
    Document.State.MADE: "ready",
    Document.State.FAILED: "failed",
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
