"""What a typed reading comes to against its step's limits, and how limits are shown. No database here."""

import re
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from garage.errors import Refused
from jobs.readings import Spec, band_of, judged_by, odd_amount, read, shown


def spec(unit: str, **limits: Any) -> Spec:
    """A step that turns away what lies outside `low` and `high`."""
    target, low, high = (Decimal(limits[name]) if name in limits else None for name in ("target", "low", "high"))
    return Spec("reading", unit, target, low, high, outside="refuse", tightens=False, required=True)


@pytest.mark.parametrize("typed", ["40", "104 F", "12"])
def test_with_an_upper_limit_alone_everything_up_to_it_is_within(typed: str) -> None:
    measured = read(spec("degC", high="40"), typed)
    assert measured and measured.band == "ok"


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("40.1", "40.1 °C · 104 °F is above the limit of 40 °C (104 °F)"),
        ("55", "55 °C · 131 °F is above the limit of 40 °C (104 °F)"),
        ("131 F", "131 °F · 55 °C is above the limit of 104 °F (40 °C)"),
    ],
)
def test_above_an_upper_limit_alone_is_turned_away_with_the_limit(typed: str, sentence: str) -> None:
    with pytest.raises(Refused, match=re.escape(sentence)) as refused:
        read(spec("degC", high="40"), typed)
    assert refused.value.field == "reading"


def test_below_a_lower_limit_alone_is_turned_away_with_the_limit() -> None:
    assert read(spec("mm", low="22"), "22")
    with pytest.raises(Refused, match=re.escape("21.9 mm · 0.862 in is below the limit of 22 mm (0.866 in)")):
        read(spec("mm", low="22"), "21.9")


def test_limits_without_a_target_stand_in_both_units() -> None:
    """100 degrees Celsius are 212 Fahrenheit and 25.4 mm are one inch: NIST SP 811, Appendix B."""
    hot = spec("degC", high="100")
    assert (hot.figure, hot.other, hot.within) == ("at most 100 °C", "at most 212 °F", "")
    assert hot.in_a_line == "at most 100 °C (212 °F)"
    pads = spec("mm", low="25.4", high="50.8")
    assert (pads.figure, pads.other) == ("25.4–50.8 mm", "1.000–2.000 in")


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        ({"low": "35", "high": "43"}, "OK: 35–43 N·m (25.8–31.7 ft·lb)"),
        ({"low": "35"}, "at least 35 N·m (25.8 ft·lb)"),
        ({"high": "43"}, "at most 43 N·m (31.7 ft·lb)"),
        ({}, ""),
    ],
)
def test_limits_stand_on_a_line_of_their_own_with_their_own_unit(limits: dict[str, str], words: str) -> None:
    """35 N·m are 25.8 ft·lb and 43 are 31.7: 1 ft·lb is 1.3558179483 N·m, NIST SP 811, Appendix B."""
    plug = spec("N_m", target="39", **limits)
    assert (plug.figure, plug.other, plug.within) == ("39 N·m", "28.8 ft·lb", words)


def test_limits_of_a_volume_stand_in_liters_and_quarts() -> None:
    """1 US quart is 0.946352946 L: NIST Handbook 44, Appendix C."""
    assert spec("L", target="0.85", low="0.76", high="0.92").within == "OK: 0.76–0.92 L (0.80–0.97 qt)"


def test_nothing_stands_beside_a_step_without_figures() -> None:
    assert (spec("L").figure, spec("L").other, spec("L").within) == ("", "", "")


def test_a_torque_without_limits_is_asked_about_when_it_is_far_from_its_target() -> None:
    """Common practice, no source: 20 % to either side."""
    plug = replace(spec("N_m", target="39"), tightens=True, outside="reason")
    assert band_of(Decimal(39), *judged_by(plug)) == "ok"
    for typed in ("31.2", "46.8"):
        assert read(plug, typed)
    with pytest.raises(Refused, match="more than 20% below the 39 N·m") as low:
        read(plug, "31.1")
    with pytest.raises(Refused, match="threads may have suffered") as high:
        read(plug, "46.9")
    assert (low.value.field, high.value.field) == ("reason", "reason")
    assert judged_by(spec("N_m", target="39")) == (None, None), "what is not tightened has only its own limits"


@pytest.mark.parametrize(
    ("typed", "asked"),
    [
        ("1.15", ""),
        ("115", "115.00 L · 121.52 qt is more than the capacity of 2.40 L (2.54 qt)"),
        ("2.31", "2.31 L · 2.44 qt is far from the 1.15 L (1.22 qt) expected"),
        ("0.115", "0.12 L · 0.12 qt is far from the 1.15 L (1.22 qt) expected"),
        ("122 qt", "122.00 qt · 115.46 L is more than the capacity of 2.54 qt (2.40 L)"),
    ],
)
def test_a_slip_of_the_point_is_asked_about(typed: str, asked: str) -> None:
    measured = read(spec("L"), typed)
    assert measured
    questions = odd_amount(measured, Decimal("2.4"), Decimal("1.15"))
    assert [question.partition(". Is")[0] for question in questions] == ([asked] if asked else [])


def test_a_reading_is_shown_first_in_the_unit_it_was_typed_in() -> None:
    """100 °F are 37.8 °C, 3/4 US qt 0.71 L, 15.5 ft·lb 21.0 N·m: NIST SP 811, Appendix B."""
    for typed, unit, said in (
        ("100 F", "degC", "100 °F · 38 °C"),
        ("3/4 qt", "L", "0.75 qt · 0.71 L"),
        ("15.5 ft-lb", "N_m", "15.5 ft·lb · 21.0 N·m"),
        ("21", "N_m", "21 N·m · 15.5 ft·lb"),
    ):
        measured = read(spec(unit), typed)
        assert measured and shown(measured.value, measured.unit, measured.typed) == said


def test_a_reading_outside_in_another_unit_is_named_in_both() -> None:
    with pytest.raises(Refused, match=re.escape("110 °F · 43 °C is above the limit of 104 °F (40 °C)")):
        read(spec("degC", high="40"), "110 F")


def test_the_books_check_judges_a_reading_with_one_limit() -> None:
    assert band_of(Decimal(55), None, Decimal(40)) == "high"
    assert band_of(Decimal(21), Decimal(22), None) == "low"
    assert band_of(Decimal(55), None, None) == "ok"
