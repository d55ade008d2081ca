"""Lines of an operation: what is charged or consumed, how much of it, at which price."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from garage import shop
from garage.access import actor_of, allowed, may
from garage.web import after_post, asked, attempt, piece_of, refusal_said
from jobs import access
from jobs.actions.cores import hand_in_core
from jobs.actions.removing import remove_line
from jobs.actions.writing_up import kind_of, save_line
from jobs.forms import GoodwillForm, LineForm, line_as_it_is, line_start
from jobs.models import Finer, Line, LineKind, Operation
from jobs.sheet import items_offered
from jobs.views.answers import form_answer, key_of, operation_answer

EDIT = ["GET", "HEAD", "POST"]
FROM_SHELF = (LineKind.PART, LineKind.FLUID)


@allowed("counter")
@require_http_methods(EDIT)
def line_add(request: HttpRequest, pk: int) -> HttpResponse:
    """A new line: its kind stands in the address, and the item once one was picked from the shelf."""
    operation = access.operation_for(request, pk)
    item = access.item_named(request)
    kind = kind_of(item) if item is not None else _kind(request.GET.get("kind", LineKind.PART))
    form = LineForm(request.POST or None, kind=kind, initial=line_start(kind, item, shop.profile().labor_rate))

    def save() -> Line:
        return save_line(
            key=key_of(request),
            operation=operation,
            fields=form.values(),
            actor=actor_of(request),
            clock=timezone.now,
        )

    if request.method == "POST" and attempt(form, save):
        return operation_answer(request, operation)
    return _form(request, operation, None, form)


@allowed("counter")
@require_http_methods(EDIT)
def line_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a line; another item of the shelf may be picked for it."""
    line = access.line_for(request, pk)
    if line.finer == Finer.GOODWILL:
        return _goodwill(request, line.operation, line)
    if line.finer in (Finer.WRITE_OFF, Finer.CORE_REFUND):
        context = {"operation": line.operation, "job": line.operation.job, "line": line}
        return form_answer(request, "jobs/line_as_it_is.html", context, f"op-{line.operation_id}-slot")
    item = access.item_named(request)
    kind = kind_of(item) if item is not None else LineKind(line.kind)
    initial = line_as_it_is(line)
    if item is not None:
        initial |= {**line_start(kind, item, shop.profile().labor_rate), "version": initial["version"]}
    form = LineForm(request.POST or None, kind=kind, initial=initial)

    def save() -> Line:
        fields, version = form.values(), form.cleaned_data["version"]
        return save_line(
            operation=line.operation,
            line=line,
            fields=fields,
            version=version,
            actor=actor_of(request),
            clock=timezone.now,
        )

    if request.method == "POST" and attempt(form, save):
        return operation_answer(request, line.operation)
    return _form(request, line.operation, line, form)


@allowed("counter")
@require_http_methods(EDIT)
def goodwill_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Take something off an operation, with words and the tax class it comes off."""
    return _goodwill(request, access.operation_for(request, pk), None)


def _goodwill(request: HttpRequest, operation: Operation, line: Line | None) -> HttpResponse:
    form = GoodwillForm(request.POST or None, line=line)

    def save() -> Line:
        return save_line(
            key=key_of(request) if line is None else None,
            operation=operation,
            line=line,
            fields=form.values(),
            version=form.cleaned_data["version"],
            actor=actor_of(request),
            clock=timezone.now,
        )

    if request.method == "POST" and attempt(form, save):
        return operation_answer(request, operation)
    context = {"operation": operation, "job": operation.job, "line": line, "form": form}
    status = 422 if request.method == "POST" else 200
    return form_answer(request, "jobs/goodwill.html", context, f"op-{operation.pk}-slot", status=status)


@allowed("bay")
@require_POST
def core_in(request: HttpRequest, pk: int) -> HttpResponse:
    """The old part of a core line was handed in: its deposit comes off."""
    line = access.line_for(request, pk)
    actor = actor_of(request)
    with refusal_said(request):
        refund = hand_in_core(key=key_of(request), core=line, actor=actor, clock=timezone.now)
        messages.success(request, f"{refund}: {-refund.quantity:f} of {line.quantity.normalize():f} returned.")
    if request.POST.get("at") == "bay" or not may(request.user, "counter"):
        return after_post(request, reverse("jobs:bay-job", args=[line.operation.job_id]))
    return operation_answer(request, line.operation)


def _form(request: HttpRequest, operation: Operation, line: Line | None, form: LineForm) -> HttpResponse:
    text = asked(request)
    context: dict[str, Any] = {
        "operation": operation,
        "job": operation.job,
        "line": line,
        "form": form,
        "kinds": LineKind.choices if line is None else [],
        "said": form.preview() if form.is_bound else {},
        "text": text,
        "from_shelf": form.kind in FROM_SHELF,
        "items": items_offered(text) if text else [],
        "here": request.path,
    }
    if "q" in request.GET and request.htmx.target == "line-items":  # type: ignore[attr-defined]
        return render(request, "jobs/line_items.html", context)
    status = 422 if request.method == "POST" else 200
    return form_answer(request, "jobs/line.html", context, f"op-{operation.pk}-slot", status=status)


@allowed("counter")
@require_safe
@piece_of("counter")
def line_amount(request: HttpRequest) -> HttpResponse:
    """What the figures typed so far come to, worked out as the invoice will."""
    form = LineForm(request.GET, kind=_kind(request.GET.get("kind", "")))
    return render(request, "jobs/line_says.html", {"said": form.preview(), "form": form})


@allowed("counter")
@require_POST
def line_remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a line off the sheet; the message puts it back."""
    line = access.line_for(request, pk)
    with refusal_said(request):
        entry = remove_line(line=line, actor=actor_of(request), clock=timezone.now)
        back = reverse("jobs:put-back", args=[entry.pk])
        messages.success(request, f"“{line}” is off the sheet.", extra_tags=f"undo:{back}")
    return operation_answer(request, line.operation)


def _kind(text: str) -> LineKind:
    if text not in LineKind.values:
        raise Http404
    return LineKind(text)
