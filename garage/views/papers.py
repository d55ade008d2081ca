"""Documents and the outgoing mail: open them, see what waits, settle what is uncertain."""

from django.contrib import messages
from django.http import FileResponse, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from garage import documents, gates, mail
from garage.access import actor_of, allowed
from garage.errors import Refused
from garage.models import Document, OutgoingMail
from garage.web import after_post, next_address, page_of, piece_of


@require_GET
@allowed("prices")
def document(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The PDF, as stored; while it is being made, a page that says so."""
    row = gates.document_for(request, pk)
    if row.stored is None or row.stored.erased_at is not None:
        return render(request, "garage/document.html", {"document": row})
    response = FileResponse(
        row.stored.file.open("rb"),
        as_attachment="save" in request.GET,
        filename=row.name,
        content_type="application/pdf",
    )
    # The browser's own viewer needs nothing from us; a script inside a PDF gets nothing either.
    response.headers["Content-Security-Policy"] = "default-src 'none'; style-src 'unsafe-inline'; object-src 'self'"
    response.headers["Cache-Control"] = "private, no-store"
    return response


@require_GET
@allowed("prices")
@piece_of("document", "pk")
def document_status(request: HttpRequest, pk: int) -> HttpResponse:
    """The fragment that a page asks for each second until the document is there."""
    return render(request, "garage/document_status.html", {"document": gates.document_for(request, pk)})


@require_POST
@allowed("prices")
def document_make(request: HttpRequest, pk: int) -> HttpResponse:
    """Have a document made that was put off, or that failed."""
    documents.ask_for(gates.document_for(request, pk))
    return after_post(request, next_address(request, "/"))


@require_GET
@allowed("books")
def mail_list(request: HttpRequest) -> HttpResponse:
    """What waits, what failed, what is uncertain, and what was sent."""
    rows = OutgoingMail.objects.prefetch_related("attachments")
    state = request.GET.get("state", "")
    if state in OutgoingMail.State.values:
        rows = rows.filter(state=state)
    context = {
        "page": page_of(rows, request),
        "none_chosen": state not in OutgoingMail.State.values,
        "states": [
            {"words": words, "address": f"?state={value}", "chosen": state == value}
            for value, words in OutgoingMail.State.choices
        ],
        "is_set_up": mail.is_set_up(),
    }
    return render(request, "garage/mail.html", context)


@require_GET
@allowed("books")
def mail_file(request: HttpRequest, pk: int) -> HttpResponse:
    """The message as a file that any mail program opens: as it was sent, or as it would be now."""
    row = gates.mail_for(request, pk)
    if row.erased_at is not None or row.attachments.filter(state=Document.State.ERASED).exists():
        messages.warning(request, "This message, or a paper it carried, was erased after the record years.")
        return redirect("mail")
    if row.as_sent is not None:
        with row.as_sent.file.open("rb") as file:
            data = file.read()
    else:
        data = mail.message_of(row).as_bytes()
    response = HttpResponse(data, content_type="message/rfc822")
    response["Content-Disposition"] = f'attachment; filename="message-{row.pk}.eml"'
    return response


@require_POST
@allowed("invoicing")
def mail_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Send a failed or uncertain message again."""
    return _settle(request, pk, again=True)


@require_POST
@allowed("invoicing")
def mail_arrived(request: HttpRequest, pk: int) -> HttpResponse:
    """Confirm that an uncertain message arrived."""
    return _settle(request, pk, again=False)


def _settle(request: HttpRequest, pk: int, *, again: bool) -> HttpResponse:
    row = gates.mail_for(request, pk)
    verb = mail.send_again if again else mail.it_arrived
    try:
        verb(mail=row, actor=actor_of(request), clock=timezone.now)
    except Refused as refusal:
        messages.error(request, str(refusal))
    return after_post(request, next_address(request, "/mail/"))
