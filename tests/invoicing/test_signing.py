"""What a customer signs: the signature never stands on a page without the paper's number, the car and the total."""

import dataclasses
import io
import re
from decimal import Decimal
from typing import Any

import pypdf
import pytest

from garage import documents, printing
from garage.documents import Printable
from garage.models import ShopProfile
from invoicing import papers
from invoicing.showing import OperationShown
from tests.invoicing.cast import Garage, labor, part

D = Decimal
SIZES = ("letter", "a4")
HEAD = re.compile(r"Work and parts Condition Quantity Unit price Amount")


def read(paper: Printable) -> list[str]:
    """What each page says, in the order it is read, on one line."""
    pdf = printing.render(documents.paper_of(paper))
    return [re.sub(r"\s+", " ", page.extract_text()) for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def at_length(paper: Printable, lines: int, size: str, **more: Any) -> Printable:
    """The same paper with so many lines, seven an operation, on sheets of a size."""
    first: OperationShown = paper.context["operations"][0]
    clips = [dataclasses.replace(first.lines[0], what=f"Clip no. {nth} of {lines}.") for nth in range(1, lines + 1)]
    operations = [
        dataclasses.replace(first, number=start // 7 + 1, lines=tuple(clips[start : start + 7]))
        for start in range(0, lines, 7)
    ]
    return Printable(paper.template, {**paper.context, "page": size, "operations": operations, **more}, paper.assets)


def assert_signed_with_its_total(paper: Printable, lines: int) -> list[str]:
    pages = read(paper)
    gross, title = paper.context["sums"]["gross"], paper.context["title"]
    signed = [page for page in pages if "Signature" in page]
    assert len(signed) == 1 and len([page for page in pages if "Before tax" in page]) == 1, lines
    assert "Before tax" in signed[0], f"{lines} lines: the signature stands on another page than the sums"
    assert f"{title} · plate KET-118 Total {gross} I authorize the work marked" in signed[0], lines
    for nth in range(1, lines + 1):
        assert sum(f"Clip no. {nth} of {lines}." in page for page in pages) == 1, f"clip {nth} of {lines}"
    for page in pages:
        clips = page.count("Clip no. ")
        assert clips == 0 or HEAD.search(page), f"{lines} lines: no head over its columns"
        assert clips != 1 or lines % 7 == 1, f"{lines} lines: one stands alone on its page"
    return pages


def estimate(garage: Garage) -> Printable:
    return papers.estimate_paper(garage.estimate(garage.job([part(), labor()])).pk)


def revised(garage: Garage) -> Printable:
    job = garage.job([part(), labor()])
    garage.authorize(garage.estimate(job))
    garage.operation(job, "Rear brake pads", part())
    return papers.estimate_paper(garage.estimate(job).pk)


@pytest.mark.parametrize(
    ("lines", "size"),
    [(1, "letter"), (12, "a4"), (14, "letter"), (17, "letter"), (22, "a4"), (36, "letter"), (50, "a4"), (60, "letter")],
)
def test_an_estimate_of_any_length_is_signed_beside_its_total(garage: Garage, lines: int, size: str) -> None:
    assert_signed_with_its_total(at_length(estimate(garage), lines, size), lines)


@pytest.mark.prove
@pytest.mark.parametrize("size", SIZES)
def test_an_estimate_of_each_length_up_to_sixty_lines_is_signed_beside_its_total(garage: Garage, size: str) -> None:
    paper = estimate(garage)
    for lines in range(1, 61):
        assert_signed_with_its_total(at_length(paper, lines, size), lines)


@pytest.mark.parametrize(("lines", "size"), [(2, "letter"), (11, "letter"), (17, "a4"), (40, "letter")])
def test_a_revised_estimate_too_and_it_says_what_was_authorized_before(garage: Garage, lines: int, size: str) -> None:
    pages = assert_signed_with_its_total(at_length(revised(garage), lines, size), lines)
    assert (
        "Authorized before this revision, Mar 2, 2026, 7:00 AM EST: $254.10 before tax, $259.53 with tax." in pages[0]
    )


@pytest.mark.parametrize("size", SIZES)
def test_texts_of_any_length_and_long_names_change_nothing_of_it(garage: Garage, size: str) -> None:
    paper = estimate(garage)
    long = {
        **paper.context["garage"],
        "name": "Marlow Falls and Lower Fernhollow Transmission, Axle and Transfer Case Company",
        "license_number": "LICENSE-" + 60 * "0",
        "estimate_text": "Prices hold for the work named here. " * 150,
        "warranty_text": "Twelve months or 12,000 mi on this work. " * 80,
    }
    person = {
        **paper.context["person"],
        "name": "Volunteer Fire and Rescue Company " * 3,
        "address": "Quay Street " * 30,
    }
    for lines in (1, 30):
        pages = assert_signed_with_its_total(at_length(paper, lines, size, garage=long, person=person), lines)
        assert "".join(pages).count("Prices") == 150


def test_nothing_of_a_long_name_is_lost_at_the_edge_of_the_sheet(garage: Garage) -> None:
    ShopProfile.objects.update(name="Marlow Falls and Lower Fernhollow Transmission, Axle and Transfer Case Company")
    paper = estimate(garage)
    pdf = printing.render(documents.paper_of(paper))
    page = pypdf.PdfReader(io.BytesIO(pdf)).pages[0]
    starts: list[float] = []
    page.extract_text(visitor_text=lambda text, _cm, at, _font, _size: starts.append(at[4]) if text.strip() else None)
    assert min(starts) > 40  # 17 mm of margin are 48 points: what is too long would begin left of it
