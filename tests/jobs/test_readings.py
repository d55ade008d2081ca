"""What a typed reading comes to against its step's limits, and how limits are shown. No database here."""

from decimal import Decimal
from typing import Any

import pytest

from garage.errors import Refused
from jobs.readings import Spec, band_of, read, shown


def spec(unit: str, **limits: Any) -> Spec:
    """A step that turns away what lies outside `low` and `high`."""
    given = {name: Decimal(limits[name]) if name in limits else None for name in ("target", "low", "high")}
    return Spec(name="reading", unit=unit, outside="refuse", tightens=False, required=True, **given)


@pytest.mark.parametrize("typed", ["40", "104 F", "12"])
def test_with_an_upper_limit_alone_everything_up_to_it_is_within(typed: str) -> None:
    measured = read(spec("degC", high="40"), typed)
    assert measured and measured.band == "ok"


@pytest.mark.parametrize("typed", ["40.1", "55", "131 F"])
def test_above_an_upper_limit_alone_is_turned_away_with_the_limit(typed: str) -> None:
    with pytest.raises(Refused, match="is above the limit of 40 °C") as refused:
        read(spec("degC", high="40"), typed)
    assert refused.value.field == "reading"


def test_below_a_lower_limit_alone_is_turned_away_with_the_limit() -> None:
    assert read(spec("mm", low="22"), "22")
    with pytest.raises(Refused, match="21.9 mm is below the limit of 22 mm"):
        read(spec("mm", low="22"), "21.9")


def test_limits_without_a_target_stand_in_both_units() -> None:
    """100 degrees Celsius are 212 Fahrenheit and 25.4 mm are one inch: NIST SP 811, Appendix B."""
    assert (spec("degC", high="100").figure, spec("degC", high="100").beside) == ("at most 100", "°C · at most 212 °F")
    pads = spec("mm", low="25.4", high="50.8")
    assert (pads.figure, pads.beside) == ("from 25.4 to 50.8", "mm · from 1.000 in to 2.000 in")


def test_beside_a_target_stand_the_other_unit_and_the_limits() -> None:
    plug = spec("N_m", target="21", low="19", high="23")
    assert (plug.figure, plug.beside) == ("21 N·m", "15.5 ft·lb · from 19 to 23")


def test_nothing_stands_beside_a_step_without_figures() -> None:
    assert (spec("L").figure, spec("L").beside) == ("", "")


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
    with pytest.raises(Refused, match=r"110 F \(43.33 °C\) is above the limit of 40 °C"):
        read(spec("degC", high="40"), "110 F")


def test_the_books_check_judges_a_reading_with_one_limit() -> None:
    assert band_of(Decimal(55), None, Decimal(40)) == "high"
    assert band_of(Decimal(21), Decimal(22), None) == "low"
    assert band_of(Decimal(55), None, None) == "ok"
