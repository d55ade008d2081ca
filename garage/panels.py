"""Pieces of a page that a higher app adds to a lower app's page.

Imports run one way (invoicing → jobs → parts → garage), yet a job's sheet shows its estimate. The lower page names
a place, the higher app registers a function for it in its `AppConfig.ready`.
"""

from collections import defaultdict
from collections.abc import Callable

from django.db import models
from django.http import HttpRequest

Panel = Callable[[HttpRequest, models.Model], str]
_panels: dict[str, list[tuple[int, Panel]]] = defaultdict(list)


def register(place: str, panel: Panel, *, order: int = 0) -> None:
    """Show `panel(request, subject)`, which returns safe HTML, at a named place of a page."""
    if all(known is not panel for _, known in _panels[place]):
        _panels[place].append((order, panel))
        _panels[place].sort(key=lambda entry: entry[0])


def render(place: str, request: HttpRequest, subject: models.Model) -> list[str]:
    """The HTML of every panel registered for a place, in order."""
    return [panel(request, subject) for _, panel in _panels[place]]
