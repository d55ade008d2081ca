"""What each role may do, and the gate that views pass through."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase

from garage.models import Role, User

OWNER, COUNTER, TECHNICIAN, READER = Role.OWNER, Role.COUNTER, Role.TECHNICIAN, Role.READER

# One row an act. A technician sees no price and no margin; a reader (an accountant) sees the books, changes nothing.
ROLES: dict[str, frozenset[Role]] = {
    "today": frozenset({OWNER, COUNTER, TECHNICIAN, READER}),
    "counter": frozenset({OWNER, COUNTER}),  # customers, vehicles, jobs, estimates, authorizations
    "bay": frozenset({OWNER, COUNTER, TECHNICIAN}),  # steps, readings, drawing from the shelf
    "shelf": frozenset({OWNER, COUNTER, TECHNICIAN}),  # look at items and stock
    "stock": frozenset({OWNER, COUNTER}),  # receive, adjust, edit items and prices
    "prices": frozenset({OWNER, COUNTER, READER}),
    "books": frozenset({OWNER, COUNTER, READER}),
    "invoicing": frozenset({OWNER, COUNTER}),  # issue, mail, take payments
    "procedures": frozenset({OWNER, COUNTER, TECHNICIAN}),
    "shop": frozenset({OWNER}),  # profile, people, mail settings
}

View = Callable[..., HttpResponseBase]


def may(user: Any, act: str) -> bool:
    """Say whether this user's role allows the act; an act that is not in the table is a KeyError."""
    roles = ROLES[act]
    return isinstance(user, User) and user.is_active and user.role in roles


def actor_of(request: HttpRequest) -> User:
    """Who asks: for the verbs. Only behind `allowed`, which lets nobody pass who is not logged in."""
    assert isinstance(request.user, User)
    return request.user


def allowed(act: str) -> Callable[[View], View]:
    """Guard a view: anonymous visitors are sent to log in (by the middleware), the wrong role gets 403."""
    assert act in ROLES, act

    def guard(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if not may(request.user, act):
                raise PermissionDenied
            return view(request, *args, **kwargs)

        guarded.act = act  # type: ignore[attr-defined]
        return guarded

    return guard
