"""Color of a fluid: CIE Lab from a photo and CIEDE2000, against published pairs and another library."""

import csv
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.color import deltaE_ciede2000, rgb2lab

from jobs.condition import Lab, delta_e, lab_from_srgb

REFERENCE = Path(__file__).parents[1] / "reference"
CHANNELS = st.integers(0, 255)
COLORS = st.tuples(CHANNELS, CHANNELS, CHANNELS)
LABS = st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120))


def rows(name: str) -> list[dict[str, str]]:
    with (REFERENCE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows("ciede2000.csv"), ids=lambda row: f"{row['L1']},{row['a1']},{row['b1']}")
def test_published_color_differences(row: dict[str, str]) -> None:
    """Sharma, Wu and Dalal 2005, Table 1, and two more published sets."""
    first: Lab = (float(row["L1"]), float(row["a1"]), float(row["b1"]))
    second: Lab = (float(row["L2"]), float(row["a2"]), float(row["b2"]))
    assert delta_e(first, second) == pytest.approx(float(row["dE00_published"]), abs=1e-4)
    assert delta_e(second, first) == pytest.approx(delta_e(first, second), abs=1e-9)


@pytest.mark.parametrize("row", rows("srgb-to-lab-d65.csv"), ids=lambda row: row["name"])
def test_lab_of_known_colors(row: dict[str, str]) -> None:
    lab = lab_from_srgb((int(row["r8"]), int(row["g8"]), int(row["b8"])))
    assert lab == pytest.approx((float(row["L"]), float(row["a"]), float(row["b"])), abs=0.02)


@given(COLORS)
@settings(deadline=None)
def test_lab_agrees_with_another_library(rgb: tuple[int, int, int]) -> None:
    assert lab_from_srgb(rgb) == pytest.approx(rgb2lab([channel / 255 for channel in rgb]).tolist(), abs=0.02)


@given(LABS, LABS)
@settings(deadline=None)
def test_the_difference_agrees_with_another_library(first: Lab, second: Lab) -> None:
    other_library: Any = deltaE_ciede2000  # brings no types
    assert delta_e(first, second) == pytest.approx(float(other_library(first, second)), abs=1e-4)


@given(COLORS)
@settings(deadline=None)
def test_a_color_is_like_itself(rgb: tuple[int, int, int]) -> None:
    assert delta_e(lab_from_srgb(rgb), lab_from_srgb(rgb)) == 0


def test_black_and_white_are_the_whole_scale_apart() -> None:
    assert delta_e(lab_from_srgb((0, 0, 0)), lab_from_srgb((255, 255, 255))) == pytest.approx(100, abs=1e-6)


@pytest.mark.parametrize(
    "rgb", [(256, 0, 0), (0, -1, 0), (0, 0), (0, 0, 0, 255), (0.5, 0, 0), (True, 0, 0), None, "red", ("a", 0, 0)]
)
def test_no_such_color_on_a_screen(rgb: Any) -> None:
    with pytest.raises(ValueError, match=r"^RGB must"):
        lab_from_srgb(rgb)


@pytest.mark.parametrize(
    "lab",
    [(float("nan"), 0, 0), (50, float("inf"), 0), (101, 0, 0), (-1, 0, 0), (50, 0), None, ("50", 0, 0), (50, True, 0)],
)
def test_no_such_color_in_lab(lab: Any) -> None:
    with pytest.raises(ValueError, match=r"^First color must"):
        delta_e(lab, (50, 0, 0))
    with pytest.raises(ValueError, match=r"^Second color must"):
        delta_e((50, 0, 0), lab)
