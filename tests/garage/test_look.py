"""The look holds: contrast, no inline code, every file there, and a page light enough for a garage's network."""

import gzip
import itertools
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import django_htmx
import pytest
import tinycss2
from coloraide import Color
from django.conf import settings
from django.test import Client
from django.urls import reverse

CSS = sorted((settings.BASE_DIR / "static" / "css").glob("*.css"))
STATIC = settings.BASE_DIR / "static"
TEMPLATES = sorted((settings.BASE_DIR / "templates").rglob("*.html"))
TEXT, PART = 4.5, 3.0  # WCAG 2.2, success criteria 1.4.3 and 1.4.11

# Ink on paper: every pair of tokens that the stylesheets put on each other, and the least contrast it needs.
PAIRS = [
    *((ink, paper, TEXT) for ink in ("ink", "faint", "press", "press-over", "warn") for paper in ("sheet", "well")),
    *((ink, "desk", TEXT) for ink in ("ink", "faint", "press", "press-over")),
    ("warn", "warn-well", TEXT),
    ("ink", "warn-well", TEXT),
    ("on-press", "press", TEXT),
    ("on-press", "press-over", TEXT),
    *(("edge", paper, PART) for paper in ("sheet", "well")),
]


def tokens(scheme: int) -> dict[str, str]:
    """The colors of the light (0) or dark (1) scheme by name."""
    text = (STATIC / "css" / "tokens.css").read_text()
    found = re.findall(r"--([a-z-]+): light-dark\((#[0-9a-f]{6}), (#[0-9a-f]{6})\)", text)
    return {name: (light, dark)[scheme] for name, light, dark in found}


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize(("ink", "paper", "least"), PAIRS, ids=lambda value: str(value))
def test_ink_can_be_read_on_its_paper(scheme: int, ink: str, paper: str, least: float) -> None:
    # coloraide's wcag21 contrast is the independent reference.
    colors = tokens(scheme)
    assert Color(colors[ink]).contrast(Color(colors[paper]), method="wcag21") >= least


def test_the_reference_contrast_is_the_published_one() -> None:
    # WCAG 2.2, definition of contrast ratio: black on white is 21:1.
    assert Color("#000").contrast(Color("#fff"), method="wcag21") == pytest.approx(21)


def _rules(nodes: list[Any]) -> Iterator[Any]:
    for node in nodes:
        yield node
        content = getattr(node, "content", None)
        if node.type == "at-rule" and content and node.lower_at_keyword in {"layer", "media", "container"}:
            yield from _rules(tinycss2.parse_rule_list(content, skip_comments=True, skip_whitespace=True))


@pytest.mark.parametrize("path", CSS, ids=lambda path: path.name)
def test_stylesheets_are_whole_and_stand_in_layers(path: Path) -> None:
    sheet = tinycss2.parse_stylesheet(path.read_text(), skip_comments=True, skip_whitespace=True)
    assert [node.message for node in _rules(sheet) if node.type == "error"] == []
    outside = [node for node in sheet if getattr(node, "lower_at_keyword", "") not in {"layer", "font-face"}]
    assert outside == []


@pytest.mark.parametrize("path", CSS, ids=lambda path: path.name)
def test_every_custom_property_used_is_defined(path: Path) -> None:
    defined = set(re.findall(r"(--[a-z0-9-]+):", "".join(sheet.read_text() for sheet in CSS)))
    assert set(re.findall(r"var\((--[a-z0-9-]+)", path.read_text())) <= defined


def _named_files() -> Iterator[tuple[Path, str]]:
    for path in TEMPLATES:
        text = path.read_text()
        for name in re.findall(r"""{% static ['"]([^'"]+)['"] %}""", text):
            yield path, name
        for name in re.findall(r"{{ static_prefix }}([^\"]+)", text):
            yield path, name
    for path in CSS:
        for name in re.findall(r'url\("\.\./([^"]+)"\)', path.read_text()):
            yield path, name
    manifest = STATIC / "manifest.webmanifest"
    for icon in json.loads(manifest.read_text())["icons"]:
        yield manifest, icon["src"]


def test_every_file_that_is_named_exists() -> None:
    missing = [f"{path.name}: {name}" for path, name in _named_files() if not (STATIC / name).is_file()]
    assert missing == []


def test_no_page_loads_from_another_host() -> None:
    for path in [*TEMPLATES, *CSS, *STATIC.glob("js/*.js")]:
        assert not re.search(r"""(src|href|url|import)\s*[=(]?\s*["'(]?(https?:)?//""", path.read_text()), path


def test_styles_and_scripts_of_a_first_load_stay_under_60_kb() -> None:
    htmx = Path(django_htmx.__file__).parent / "static" / "django_htmx" / "htmx-2.min.js"
    files = [*CSS, STATIC / "js" / "app.js", STATIC / "js" / "pad.js", htmx]
    assert sum(len(gzip.compress(path.read_bytes())) for path in files) < 60 * 1024


def test_fonts_travel_with_their_license() -> None:
    assert "SIL OPEN FONT LICENSE Version 1.1" in (STATIC / "fonts" / "LICENSE.txt").read_text()
    for script, weight in itertools.product(("latin", "latin-ext"), (400, 600)):
        name = f"barlow-{script}-{weight}.woff2"
        assert (STATIC / "fonts" / name).read_bytes()[:4] == b"wOF2"


@pytest.mark.django_db
def test_a_stranger_sees_no_places_and_a_page_that_says_where_to_go(client: Client) -> None:
    page = client.get(reverse("login")).content.decode()
    assert 'class="places"' not in page
    assert 'autocomplete="current-password"' in page
    assert '<meta name="htmx-config"' in page


def test_a_technician_sees_no_books(login: Callable[[str], Client]) -> None:
    page = login("technician").get("/no-such-page/")
    assert page.status_code == 404
    text = page.content.decode()
    assert "Nothing at this address" in text
    assert 'href="/bay/"' in text
    assert 'href="/books/"' not in text


def test_the_current_place_is_said(login: Callable[[str], Client]) -> None:
    text = login("owner").get("/counter/no-such-page/").content.decode()
    assert '<a href="/counter/" aria-current="page">Counter</a>' in text
    assert text.count('aria-current="page"') == 1
