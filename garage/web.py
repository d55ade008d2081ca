"""The few ways a view answers: a page or its fragment, a redirect after a POST, a refusal beside its field."""

import functools
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Generic, TypeVar, cast
from urllib.parse import urlencode

from django import forms
from django.contrib import messages
from django.db.models import Model, Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django_htmx.http import HttpResponseClientRedirect
from django_htmx.middleware import HtmxDetails

from garage.asking import AskingForm
from garage.changes import Stale
from garage.errors import Questions, Refused
from garage.forms import put_back

Row = TypeVar("Row", bound=Model)
#: How much may be typed into a box that finds or narrows something.
TYPED = 200

View = TypeVar("View", bound=Callable[..., HttpResponse])


def wants_fragment(request: HttpRequest) -> bool:
    """Say whether htmx asks for a piece of the page: not after a boosted click nor when history is restored."""
    htmx: HtmxDetails = request.htmx  # type: ignore[attr-defined]
    return bool(htmx) and not htmx.boosted and not htmx.history_restore_request


def render_page(
    request: HttpRequest, template: str, context: Mapping[str, Any], *, partial: str = "", status: int = 200
) -> HttpResponse:
    """Render a page, or only its named partial when htmx asks for it."""
    if partial and wants_fragment(request):
        template = f"{template}#{partial}"
    return render(request, template, dict(context), status=status)


def piece_of(page: str, *names: str) -> Callable[[View], View]:
    """Let a view answer with a piece to htmx alone. Asked for as a page (another tab, a link kept) it leads to the page
    that the piece belongs to, whose address takes those of the view's arguments that are named.
    """

    def decorate(view: View) -> View:
        @functools.wraps(view)
        def answer(request: HttpRequest, **kwargs: Any) -> HttpResponse:
            if wants_fragment(request):
                return view(request, **kwargs)
            return HttpResponseRedirect(reverse(page, kwargs={name: kwargs[name] for name in names}))

        answer.piece_of = page  # type: ignore[attr-defined]
        return cast(View, answer)

    return decorate


def after_post(request: HttpRequest, url: str) -> HttpResponse:
    """Lead on to `url` after an act, so that a reload does not repeat it."""
    if wants_fragment(request):
        return HttpResponseClientRedirect(url)
    return HttpResponseRedirect(url, status=303)


def asked(request: HttpRequest, name: str = "q", *, most: int = TYPED) -> str:
    """What was typed to find or narrow something: trimmed, as long as the boxes let it become (`TYPED`), without the
    NUL that PostgreSQL cannot compare."""
    return request.GET.get(name, "").replace("\0", "").strip()[:most]


def next_address(request: HttpRequest, default: str) -> str:
    """Where a form asks to be led afterwards (`next`): an address of this program, else the default."""
    wanted = request.POST.get("next", "")
    return wanted if url_has_allowed_host_and_scheme(wanted, allowed_hosts=None) else default


def refuse(form: forms.BaseForm, error: Refused) -> None:
    """Show a verb's refusal beside the field it names, else above the form; its questions where the form asks back.

    A form that came too late (Stale) takes the version that stands now, so that saving again is a decision.
    """
    if isinstance(error, Questions) and isinstance(form, AskingForm):
        form.questions, form.instead = error.questions, error.instead
        return
    form.add_error(error.field if error.field in form.fields else None, str(error))
    if isinstance(error, Stale):
        put_back(form, "version", str(error.version))


def attempt(form: forms.BaseForm, act: Callable[[], Row]) -> Row | None:
    """Do the act when the form is valid; None when it is not or the verb refused, which the form then says."""
    if not form.is_valid():
        return None
    try:
        return act()
    except Refused as error:
        refuse(form, error)
        return None


@contextmanager
def refusal_said(request: HttpRequest) -> Iterator[None]:
    """Say a verb's refusal on the page that follows: for an act that is a button alone, with no form to say it."""
    try:
        yield
    except Refused as error:
        messages.warning(request, str(error))


@dataclass(frozen=True)
class Page(Generic[Row]):
    """Some rows of a long list, newest first, and where the newer and older ones are."""

    rows: list[Row]
    newer: str
    older: str


def page_of(queryset: "QuerySet[Row]", request: HttpRequest, *, size: int = 30, day: str = "") -> Page[Row]:
    """Cut one page out of a list by its primary key, newest first (`?before=` and `?after=` in the address).

    With `day` the list is in the order of that date column, and of the key within a day. Keyset pages cost the same
    at row one and at row one million; OFFSET and COUNT do not.
    """
    before, after = (key_in(request.GET.get(name, "")) for name in ("before", "after"))
    columns = [day, "pk"] if day else ["pk"]
    falling = [f"-{column}" for column in columns]
    if after is not None:
        rows = list(_beyond(queryset, after, day, "gt").order_by(*columns)[: size + 1])
        more_newer, more_older = len(rows) > size, True
        rows = rows[:size][::-1]
    else:
        found = queryset if before is None else _beyond(queryset, before, day, "lt")
        rows = list(found.order_by(*falling)[: size + 1])
        more_newer, more_older = before is not None, len(rows) > size
        rows = rows[:size]
    newer = page_address(request, after=rows[0].pk) if rows and more_newer else ""
    older = page_address(request, before=rows[-1].pk) if rows and more_older else ""
    return Page(rows, newer, older)


def _beyond(queryset: "QuerySet[Row]", pk: int, day: str, way: str) -> "QuerySet[Row]":
    """The rows of a list that come after (`lt`) or before (`gt`) the row with this key."""
    if not day:
        return queryset.filter(**{f"pk__{way}": pk})
    on = queryset.model._default_manager.filter(pk=pk).values_list(day, flat=True).first()
    if on is None:
        return queryset.none()
    return queryset.filter(Q(**{f"{day}__{way}": on}) | Q(**{day: on, f"pk__{way}": pk}))


def key_in(text: str) -> int | None:
    """A primary key as it stands in an address or a hidden field; None for anything that can be none."""
    return int(text) if text.isdecimal() and len(text) < 19 else None  # 19 digits may be more than 64 bits hold


def key_named(request: HttpRequest, parameter: str) -> int | None:
    """The primary key that stands in the address (`?customer=12`); None when none does, 404 when it is no key."""
    text = request.GET.get(parameter, "")
    key = key_in(text)
    if text and key is None:
        raise Http404
    return key


def page_address(request: HttpRequest, **keys: int | str) -> str:
    """The same list from another row on: what narrows it stays in the address."""
    kept = {name: value for name, value in request.GET.items() if name not in {"before", "after"}}
    return f"?{urlencode({**kept, **keys})}"
