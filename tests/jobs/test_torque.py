"""Torque: limits, and the setting of a wrench that carries an adapter."""

import csv
from decimal import Decimal, localcontext
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.torque import in_band, wrench_setting

REFERENCE = Path(__file__).parents[1] / "reference"
D = Decimal
FIGURES = st.decimals(min_value=1, max_value=1000, places=2)


def extensions() -> list[dict[str, str]]:
    with (REFERENCE / "torque-extension.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", extensions(), ids=lambda row: row["id"])
def test_settings_printed_in_manuals(row: dict[str, str]) -> None:
    setting = wrench_setting(D(row["target"]), D(row["wrench_length"]), D(row["extension"]), float(row["angle_deg"]))
    printed = D(row["setting"])
    # A printed figure may be cut as well as rounded (158.823… is printed as 158.82, 16.47… as 16.5).
    exponent = printed.as_tuple().exponent
    assert isinstance(exponent, int)
    assert abs(setting - printed) <= D("0.5").scaleb(exponent)


def test_a_square_or_shortened_lever() -> None:
    assert wrench_setting(D(100), D(400), D(50), 90) == 100
    assert wrench_setting(D(100), D(400), D(50), -90) == 100
    assert wrench_setting(D(100), D(400), D(50), 270) == 100
    assert wrench_setting(D(100), D(400), D(0)) == 100
    assert wrench_setting(D(135), D(10), D("-1.5")) == wrench_setting(D(135), D(10), D("1.5"), 180)
    assert str(wrench_setting(D(300), D(10), D(5))) == "200"


@given(FIGURES, FIGURES, st.decimals(min_value=0, max_value=1000, places=2))
def test_the_fastener_receives_the_target(target: Decimal, length: Decimal, extension: Decimal) -> None:
    setting = wrench_setting(target, length, extension)
    assert setting <= target
    assert setting * (length + extension) / length == pytest.approx(target, rel=D("1E-25"))


@given(FIGURES, FIGURES, FIGURES, st.floats(-360, 360))
def test_the_setting_stays_between_its_extremes(
    target: Decimal, length: Decimal, extension: Decimal, angle: float
) -> None:
    if extension >= length:
        length, extension = extension + 1, length
    setting = wrench_setting(target, length, extension, angle)
    assert wrench_setting(target, length, extension, 0) <= setting
    assert setting <= wrench_setting(target, length, extension, 180)


@pytest.mark.parametrize(("extension", "angle"), [(D(-10), 0), (D(-11), 0), (D(10), 180), (D(30), 120)])
def test_no_lever_is_left(extension: Decimal, angle: float) -> None:
    with pytest.raises(ValueError, match=r"^Extension leaves no lever"):
        wrench_setting(D(100), D(10), extension, angle)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ((D(0), D(10), D(1)), "Target must be greater than zero"),
        ((D(-5), D(10), D(1)), "Target must be greater than zero"),
        ((100.0, D(10), D(1)), "Target must be an exact decimal number"),
        ((D(100), D(0), D(1)), "Wrench length must be greater than zero"),
        ((D(100), D("NaN"), D(1)), "Wrench length must be a finite number"),
        ((D(100), D(10), D("Infinity")), "Extension must be a finite number"),
        ((D(100), D(10), D(1), float("nan")), "Angle must be from -360 to 360"),
        ((D(100), D(10), D(1), D("NaN")), "Angle must be a finite number"),
        ((D(100), D(10), D(1), float("inf")), "Angle must be from -360 to 360"),
        ((D(100), D(10), D(1), 361), "Angle must be from -360 to 360"),
        ((D(100), D(10), D(1), True), "Angle must be a number"),
        ((D(100), D(10), D(1), "30"), "Angle must be a number"),
    ],
)
def test_what_no_wrench_can_do(arguments: Any, sentence: str) -> None:
    with pytest.raises(ValueError, match=f"^{sentence}"):
        wrench_setting(*arguments)


@pytest.mark.parametrize(
    ("reading", "verdict"), [("34.9", "low"), ("35", "ok"), ("39.000", "ok"), ("43", "ok"), ("43.01", "high")]
)
def test_the_limits_belong_to_the_band(reading: str, verdict: str) -> None:
    assert in_band(D(reading), D(35), D(43)) == verdict


def test_a_band_may_be_a_single_figure() -> None:
    assert in_band(D(39), D(39), D(39)) == "ok"
    assert in_band(39, 39, 39) == "ok"  # type: ignore[arg-type]  # whole numbers are welcome


@given(FIGURES, FIGURES, FIGURES)
def test_a_reading_is_low_ok_or_high(reading: Decimal, one: Decimal, other: Decimal) -> None:
    low, high = sorted((one, other))
    verdict = in_band(reading, low, high)
    assert (verdict == "ok") is (low <= reading <= high)
    assert (verdict == "low") is (reading < low)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ((D(1), D(3), D(2)), "Low must not be above high"),
        ((D("NaN"), D(1), D(2)), "Reading must be a finite number"),
        ((D(1), 0.5, D(2)), "Low must be an exact decimal number"),
        ((D(1), D(1), None), "High must be an exact decimal number"),
    ],
)
def test_limits_that_make_no_sense(arguments: Any, sentence: str) -> None:
    with pytest.raises(ValueError, match=f"^{sentence}"):
        in_band(*arguments)


def test_the_callers_decimal_context_does_not_matter() -> None:
    with localcontext() as context:
        context.prec = 3
        setting = wrench_setting(D(300), D(10), D(4))
    assert str(setting) == "214.2857142857142857142857143"
