"""Papers: archived, tagged, with embedded fonts, made once, and unable to reach anything outside."""

import datetime as dt
import http.server
import io
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from pypdf import PdfReader

from garage import documents
from garage.clock import fixed
from garage.documents import CannotPrint, Printable, Printer
from garage.models import Document, ShopProfile
from garage.printing import Paper, render

FONTS = {name: (Path("static") / name).read_bytes() for name in documents.FONTS}
PAGE = """<html lang="en"><head><title>Invoice 2026-0001</title><style>
@font-face {{ font-family: Barlow; src: url(fonts/barlow-latin-400.woff2) }} body {{ font-family: Barlow }}
</style></head><body><h1>Invoice 2026-0001</h1><p>0.850 L · 0.898 qt</p>{}</body></html>"""


@pytest.fixture(scope="module")
def printer() -> Iterator[Printer]:
    warm = Printer()
    yield warm
    warm.close()


@pytest.fixture
def kind(monkeypatch: pytest.MonkeyPatch) -> str:
    """A kind of paper for these tests only."""
    monkeypatch.setitem(documents._builders, "test", lambda source: Printable("tests/paper.html", {"source": source}))
    monkeypatch.setattr(documents, "render_to_string", lambda template, context: PAGE.format(context["source"]))
    monkeypatch.setattr(documents, "PRINT_FILES", ())
    return "test"


def test_a_paper_is_archived_tagged_and_carries_its_fonts() -> None:
    """ISO 19005-3 level A and ISO 14289-1, as far as a script can see them: marks, structure, language, fonts."""
    pdf = pikepdf.open(io.BytesIO(render(Paper(PAGE.format(""), FONTS))))
    with pdf.open_metadata() as metadata:
        assert metadata["{http://www.aiim.org/pdfa/ns/id/}part"] == "3"
        assert metadata["{http://www.aiim.org/pdfa/ns/id/}conformance"] == "A"
        assert metadata["{http://www.aiim.org/pdfua/ns/id/}part"] == "1"
        assert metadata["{http://purl.org/dc/elements/1.1/}title"] == "Invoice 2026-0001"
    assert pdf.Root.MarkInfo.Marked
    assert str(pdf.Root.Lang) == "en"
    assert "/OutputIntents" in pdf.Root
    assert "/StructTreeRoot" in pdf.Root
    fonts = [font for font in pdf.objects if isinstance(font, pikepdf.Dictionary) and font.get("/Type") == "/Font"]
    descriptors = [font.FontDescriptor for font in fonts if "/FontDescriptor" in font]
    assert descriptors
    assert all("/FontFile2" in one or "/FontFile3" in one for one in descriptors)
    assert all("/ToUnicode" in font for font in fonts if font.get("/Subtype") == "/Type0")
    assert "/JavaScript" not in pdf.Root.get("/Names", {})
    assert "/Encrypt" not in pdf.trailer


@pytest.fixture
def trap() -> Iterator[tuple[str, list[str]]]:
    """A server on this machine that notes whoever asks it for something."""
    asked: list[str] = []

    class Note(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        def log_message(self, *args: Any) -> None:
            pass

    server = http.server.HTTPServer(("127.0.0.1", 0), Note)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}", asked
    server.shutdown()


def test_a_paper_reaches_neither_the_network_nor_a_file(trap: tuple[str, list[str]], tmp_path: Path) -> None:
    address, asked = trap
    secret = tmp_path / "secret.txt"
    secret.write_text("canary-7f3a")
    attacks = [
        f'<img src="{place}"><link rel="stylesheet" href="{place}"><link rel="attachment" href="{place}">'
        f'<object data="{place}"></object><embed src="{place}"><style>@import url("{place}"); '
        f'p {{ background: url("{place}") }} @font-face {{ font-family: x; src: url("{place}") }}</style>'
        f'<svg><image href="{place}"/><use href="{place}#a"/></svg><p style="font-family: x">x</p>'
        for place in (f"{address}/x", secret.as_uri(), f"//{address.removeprefix('http://')}/y", "../../manage.py")
    ]
    pdf = render(Paper(PAGE.format("".join(attacks)), FONTS))
    assert asked == []
    opened = pikepdf.open(io.BytesIO(pdf))
    assert not opened.attachments
    assert b"canary-7f3a" not in b"".join(
        item.read_bytes() for item in opened.objects if isinstance(item, pikepdf.Stream) and "/Width" not in item
    )


def test_a_paper_that_takes_too_long_is_given_up_and_the_next_one_is_made(printer: Printer) -> None:
    endless = "<table>" + "<tr><td colspan=1000000>x" * 60 + "</table>"
    with pytest.raises(CannotPrint, match=r"longer than|MemoryError|died"):
        printer.print(Paper(endless), time_limit=2)
    assert printer.print(Paper("<p>next")).startswith(b"%PDF")


def test_the_worker_makes_a_wanted_paper_once(shop: ShopProfile, kind: str, printer: Printer, now: dt.datetime) -> None:
    document = documents.want(kind, 7, name="Paper 7.pdf", clock=fixed(now))
    assert documents.want(kind, 7, name="Paper 7.pdf", clock=fixed(now)) == document
    assert documents.make_wanted(printer, now=now) == 1
    assert documents.make_wanted(printer, now=now) == 0
    document.refresh_from_db()
    assert document.state == Document.State.MADE
    assert document.stored is not None
    assert "0.850 L · 0.898 qt" in PdfReader(document.stored.file.open()).pages[0].extract_text()
    assert documents.altered() == []


def test_a_byte_changed_on_disk_is_found(shop: ShopProfile, kind: str, printer: Printer, now: dt.datetime) -> None:
    document = documents.want(kind, 8, name="Paper 8.pdf", clock=fixed(now))
    documents.make_wanted(printer, now=now)
    document.refresh_from_db()
    assert document.stored is not None
    path = Path(document.stored.file.path)
    path.chmod(0o600)
    path.write_bytes(path.read_bytes()[:-1] + b"?")
    assert documents.altered() == [f"document {document.pk} (Paper 8.pdf): its bytes changed since it was made"]
    path.unlink()
    assert "its file is gone" in documents.altered()[0]


def test_a_paper_that_cannot_be_made_says_why_and_does_not_stop_the_others(
    shop: ShopProfile, kind: str, printer: Printer, now: dt.datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    def build(source: int) -> Printable:
        if source == 1:
            raise ValueError("nothing to print")
        return Printable("tests/paper.html", {"source": source})

    monkeypatch.setitem(documents._builders, kind, build)
    bad, good = (documents.want(kind, n, name=f"Paper {n}.pdf", clock=fixed(now)) for n in (1, 2))
    documents.make_wanted(printer, now=now, limit=documents.ATTEMPTS + 1)
    bad.refresh_from_db()
    good.refresh_from_db()
    assert (bad.state, bad.problem, good.state) == (Document.State.FAILED, "nothing to print", Document.State.MADE)
    documents.ask_for(bad)
    bad.refresh_from_db()
    assert bad.state == Document.State.WANTED


def test_a_paper_that_was_put_off_is_made_when_somebody_asks(
    shop: ShopProfile, kind: str, printer: Printer, now: dt.datetime, login: Any
) -> None:
    old = documents.want(kind, 1, name="Paper 1.pdf", clock=fixed(now - dt.timedelta(days=400)))
    new = documents.want(kind, 2, name="Paper 2.pdf", clock=fixed(now))
    assert documents.put_off(before=now) == 1
    assert documents.make_wanted(printer, now=now) == 1
    new.refresh_from_db()
    assert new.state == Document.State.MADE
    reader = login("reader")
    assert "Make it now" in reader.get(f"/documents/{old.pk}/").content.decode()
    old.refresh_from_db()
    assert old.state == Document.State.LATER, "looking changes nothing"
    reader.post(f"/documents/{old.pk}/make/")
    assert documents.make_wanted(printer, now=now) == 1
    assert reader.get(f"/documents/{old.pk}/").headers["Content-Type"] == "application/pdf"


def test_a_paper_made_by_a_killed_worker_is_taken_up_again(
    shop: ShopProfile, kind: str, printer: Printer, now: dt.datetime
) -> None:
    document = documents.want(kind, 9, name="Paper 9.pdf", clock=fixed(now))
    Document.objects.update(lease_until=now + dt.timedelta(seconds=30))
    assert documents.make_wanted(printer, now=now) == 0
    assert documents.make_wanted(printer, now=now + dt.timedelta(seconds=31)) == 1
    document.refresh_from_db()
    assert document.state == Document.State.MADE


def test_a_paper_taken_up_while_the_clock_was_ahead_is_made_once_it_is_right(
    shop: ShopProfile, kind: str, printer: Printer, now: dt.datetime
) -> None:
    documents.want(kind, 9, name="Paper 9.pdf", clock=fixed(now))
    Document.objects.update(lease_until=now + dt.timedelta(days=29))
    assert documents.make_wanted(printer, now=now) == 1


def test_the_pdf_is_served_to_those_who_may_see_prices(
    shop: ShopProfile, kind: str, printer: Printer, now: dt.datetime, login: Any
) -> None:
    document = documents.want(kind, 3, name="Paper 3.pdf", clock=fixed(now))
    counter = login("counter")
    assert (
        "is being made"
        in counter.get(f"/documents/{document.pk}/status/", headers={"HX-Request": "true"}).content.decode()
    )
    assert counter.get(f"/documents/{document.pk}/").headers["Content-Type"].startswith("text/html")
    documents.make_wanted(printer, now=now)
    response = counter.get(f"/documents/{document.pk}/")
    assert response.headers["Content-Type"] == "application/pdf"
    assert b"".join(response.streaming_content).startswith(b"%PDF")
    assert (
        f'href="/documents/{document.pk}/"'
        in counter.get(f"/documents/{document.pk}/status/", headers={"HX-Request": "true"}).content.decode()
    )
    assert login("technician").get(f"/documents/{document.pk}/").status_code == 403
