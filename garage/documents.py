"""Papers: wanted in the transaction that issues them, made by the worker, stored once.

A kind of paper is registered with a function that builds its HTML from a primary key. `want` writes the wish;
`make_wanted`, called by the one worker, builds, prints, stores and records the SHA-256. An issued paper never
changes: its row is unique by kind, source and version.
"""

import datetime as dt
import logging
import pickle
import select
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import F, Q
from django.template.loader import render_to_string

from garage import dates, files, printing, shop
from garage.clock import Clock, fixed, has_come
from garage.models import Document, StoredFile
from garage.printing import Paper
from garage.texts import shortened
from garage.writing import writing

log = logging.getLogger("sumpbook.documents")

TIME_LIMIT = 10.0
LEASE = dt.timedelta(seconds=60)
ATTEMPTS = 3
PRINT_FILES = ("print/document.css",)
FONTS = tuple(f"fonts/barlow-{script}-{weight}.woff2" for script in ("latin", "latin-ext") for weight in (400, 600))


@dataclass(frozen=True)
class Printable:
    """A paper ready to be printed: its template, what fills it, and files of its own such as photos."""

    template: str
    context: dict[str, Any]
    assets: dict[str, bytes] = field(default_factory=dict)


class CannotPrint(RuntimeError):
    """The printing process refused, ran out of time or died."""


Build = Callable[[int], Printable]
WrittenIn = Callable[[int], str]
_builders: dict[str, Build] = {}
_written_in: dict[str, WrittenIn] = {}


def register(kind: str, build: Build, written_in: WrittenIn | None = None) -> None:
    """Make a kind of paper known; `build(source)` gives what is printed for the row with that primary key.

    `written_in(source)` is the locale of its words and dates, where that was frozen with the row; else the shop's own.
    """
    _builders[kind] = build
    if written_in:
        _written_in[kind] = written_in


def built(kind: str, source: int) -> Paper:
    """A paper with its template filled, in the locale it was written in."""
    frozen = _written_in.get(kind)
    with dates.speaking(frozen(source) if frozen else shop.profile().locale):
        return paper_of(_builders[kind](source))


@writing()
def want(kind: str, source: int, *, name: str, clock: Clock, version: int = 1) -> Document:
    """Ask for a paper inside the business transaction; asking again for the same version changes nothing."""
    now = clock()
    document, _ = Document.objects.get_or_create(
        kind=kind, source=source, version=version, defaults={"name": name, "wanted_at": now}
    )
    return document


@writing()
def ask_for(document: Document) -> Document:
    """Have a paper made that was put off, or that failed before; any other stays as it is."""
    document.refresh_from_db()  # the worker may have taken it up since it was read
    if document.state in (Document.State.LATER, Document.State.FAILED):
        document.state, document.attempts, document.problem, document.lease_until = Document.State.WANTED, 0, "", None
        document.save(update_fields=["state", "attempts", "problem", "lease_until"])
    return document


@writing()
def put_off(*, before: dt.datetime) -> int:
    """Let the papers wanted before a moment wait until somebody asks for them: history that was just brought in
    need not keep the worker busy. Return how many wait."""
    older = Document.objects.filter(state=Document.State.WANTED, wanted_at__lt=before)
    return older.update(state=Document.State.LATER)


def paper_of(printable: Printable) -> Paper:
    """Fill the template and gather the files that the page may refer to."""
    profile = shop.profile()
    assets = {name: (Path(settings.BASE_DIR) / "static" / name).read_bytes() for name in (*PRINT_FILES, *FONTS)}
    if profile.logo:
        assets["logo"] = profile.logo.file.open().read()
    html = render_to_string(printable.template, {"shop": profile, **printable.context})
    return Paper(html, {**assets, **printable.assets})


class Printer:
    """The warm printing process: started when first needed, replaced when it is slow or gone."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None

    def print(self, paper: Paper, *, time_limit: float = TIME_LIMIT) -> bytes:
        """Give the PDF; raises CannotPrint with a sentence."""
        process = self._running()
        assert process.stdin and process.stdout
        try:
            printing.send(process.stdin, pickle.dumps(paper))
            ready, _, _ = select.select([process.stdout], [], [], time_limit)
            if not ready:
                raise CannotPrint(f"printing took longer than {time_limit:g} seconds")
            answer = printing.receive(process.stdout)
        except (OSError, CannotPrint) as error:
            self.close()
            raise CannotPrint(str(error)) from error
        if not answer or answer[:1] != b"+":
            problem = (answer or b"-the printing process died").decode()[1:]
            self.close()
            raise CannotPrint(problem)
        return answer[1:]

    def _running(self) -> "subprocess.Popen[bytes]":
        if self._process is None or self._process.poll() is not None:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "garage.printing"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                cwd=settings.BASE_DIR,
            )
        return self._process

    def close(self) -> None:
        """End the process, at once."""
        if self._process is not None:
            self._process.kill()
            self._process.communicate()
            self._process = None


def make_wanted(printer: Printer, *, now: dt.datetime, limit: int = 20) -> int:
    """Make the papers that are wanted; return how many were tried.

    Newest first: behind a backlog of many, somebody is waiting for the last one.
    """
    tried = 0
    while tried < limit and (document := _claim(now)) is not None:
        tried += 1
        _make(document, printer, now=now)
    return tried


@writing()
def _claim(now: dt.datetime) -> Document | None:
    free = Q(lease_until=None) | has_come("lease_until", now, LEASE)
    document = Document.objects.filter(free, state=Document.State.WANTED).order_by("-pk").first()
    if document is not None:
        Document.objects.filter(pk=document.pk).update(lease_until=now + LEASE, attempts=F("attempts") + 1)
        document.refresh_from_db()
    return document


def _make(document: Document, printer: Printer, *, now: dt.datetime) -> None:
    try:
        pdf = printer.print(built(document.kind, document.source))
    except Exception as error:
        # One paper that cannot be made must not stop the others; what went wrong stands on its row.
        log.exception("could not make %s", document.name)
        failed = document.attempts >= ATTEMPTS
        document.state = Document.State.FAILED if failed else Document.State.WANTED
        document.problem, document.lease_until = shortened(str(error), 2000), None
        with writing():
            document.save(update_fields=["state", "problem", "lease_until"])
        return
    _store(document, pdf, clock=fixed(now))


@writing()
def _store(document: Document, pdf: bytes, *, clock: Clock) -> None:
    now = clock()
    stored = files.store_bytes(
        StoredFile.Kind.DOCUMENT, document.name, "application/pdf", pdf, actor=None, clock=fixed(now)
    )
    document.state, document.stored, document.sha256 = Document.State.MADE, stored, stored.sha256
    document.made_at, document.lease_until, document.problem = now, None, ""
    document.save(update_fields=["state", "stored", "sha256", "made_at", "lease_until", "problem"])


def altered() -> list[str]:
    """The stored papers whose bytes are no longer those that were made, one sentence each; erased ones are accepted."""
    sentences = []
    stored = Document.objects.filter(state__in=[Document.State.MADE, Document.State.ERASED]).select_related("stored")
    for document in stored.order_by("pk").iterator(chunk_size=500):
        assert document.stored is not None
        fault = files.fault_of(document.stored, document.sha256)
        if (document.state == Document.State.ERASED) != (document.stored.erased_at is not None):
            fault = "it and its file do not agree on whether it was erased"
        if fault:
            sentences.append(f"document {document.pk} ({document.name}): {fault}")
    return sentences
