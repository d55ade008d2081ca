"""HTML to PDF, in a process of its own: `python -m garage.printing` reads requests on stdin, answers on stdout.

No Django and no database here. The process stays warm (WeasyPrint takes half a second to import), may use 1 GB and
has 10 s a paper; the worker kills and replaces it when it takes longer. It fetches nothing: only the assets sent
with the request exist for it, so a paper can reach neither the network nor a file.

A request is a pickle of `Paper` behind its length in 8 bytes; an answer is `+` and the PDF, or `-` and a sentence.
"""

import contextlib
import os
import pickle
import resource
import struct
import sys
from dataclasses import dataclass, field
from typing import IO, Any

BASE_URL = "https://assets.invalid/"
MEMORY = 1 << 30
# PDF/A allows a foreign property such as PDF/UA's only with its schema described beside it (ISO 19005-3, 6.6.2.3,
# from memory).
PDF_UA_MARK = """
<rdf:Description rdf:about="" xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/" pdfuaid:part="1"/>
<rdf:Description rdf:about="" xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/"
    xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#" xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#">
  <pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">
    <pdfaSchema:schema>PDF/UA identification schema</pdfaSchema:schema>
    <pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>
    <pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
    <pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
      <pdfaProperty:name>part</pdfaProperty:name>
      <pdfaProperty:valueType>Integer</pdfaProperty:valueType>
      <pdfaProperty:category>internal</pdfaProperty:category>
      <pdfaProperty:description>Part of PDF/UA the file conforms to</pdfaProperty:description>
    </rdf:li></rdf:Seq></pdfaSchema:property>
  </rdf:li></rdf:Bag></pdfaExtension:schemas>
</rdf:Description>
"""


@dataclass(frozen=True)
class Paper:
    """A finished HTML page and every file it may refer to, by name under BASE_URL."""

    html: str
    assets: dict[str, bytes] = field(default_factory=dict)


def fetcher(assets: dict[str, bytes]) -> Any:
    """A WeasyPrint URL fetcher that knows these assets and nothing else."""
    from weasyprint.urls import URLFetcher, URLFetcherResponse  # noqa: PLC0415 (only the printing process pays for it)

    class Closed(URLFetcher):  # type: ignore[misc]
        def fetch(self, url: str, headers: object = None) -> Any:
            name = url.removeprefix(BASE_URL)
            if name == url or name not in assets:
                raise ValueError(f"a paper may not fetch {url}")
            # Without its type a stylesheet would be passed over and the paper printed bare.
            kind = {"css": "text/css", "svg": "image/svg+xml", "woff2": "font/woff2"}.get(name.rpartition(".")[2])
            return URLFetcherResponse(url, assets[name], {"Content-Type": kind} if kind else None)

    return Closed(allowed_protocols=(), allow_redirects=False)


def render(paper: Paper) -> bytes:
    """Make the PDF: PDF/A-3a (archive, tagged, fonts embedded), with the mark of PDF/UA-1 beside it."""
    import weasyprint  # noqa: PLC0415
    from weasyprint.text.fonts import FontConfiguration  # noqa: PLC0415

    html = weasyprint.HTML(string=paper.html, base_url=BASE_URL, url_fetcher=fetcher(paper.assets))
    made = html.write_pdf(pdf_variant="pdf/a-3a", finisher=mark_accessible, font_config=FontConfiguration())
    assert isinstance(made, bytes)
    return made


def mark_accessible(document: Any, pdf: Any) -> None:
    """Add the PDF/UA mark to the metadata; WeasyPrint's own option would open a second, unread RDF block."""
    for item in pdf.objects:
        if getattr(item, "extra", {}).get("Type") == "/Metadata":
            item.stream = [b"\n".join(item.stream).replace(b"</rdf:RDF>", PDF_UA_MARK.encode() + b"</rdf:RDF>", 1)]


def send(stream: IO[bytes], data: bytes) -> None:
    """Write one length-prefixed message."""
    stream.write(struct.pack(">Q", len(data)) + data)
    stream.flush()


def receive(stream: IO[bytes]) -> bytes | None:
    """Read one length-prefixed message; None at the end of the stream."""
    head = stream.read(8)
    return stream.read(struct.unpack(">Q", head)[0]) if len(head) == 8 else None


def serve(requests: IO[bytes], answers: IO[bytes]) -> None:
    """Answer requests until the stream ends."""
    while (request := receive(requests)) is not None:
        try:
            answer = b"+" + render(pickle.loads(request))
        except (Exception, RecursionError) as error:
            answer = b"-" + f"{type(error).__name__}: {error}".encode()
        send(answers, answer)


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    os.nice(10)  # pages come first
    # Whatever a library prints must not come between the answers.
    with contextlib.redirect_stdout(sys.stderr):
        serve(sys.stdin.buffer, sys.__stdout__.buffer)  # type: ignore[union-attr, arg-type]
