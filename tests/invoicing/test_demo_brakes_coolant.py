"""The demo's procedures for brakes and for the cooling system, read as a master technician reads them.

What stands here of trade practice is common practice, no source, where none is named.
"""

import re
from decimal import Decimal

import pytest

from tests.invoicing.test_demo_procedures import FILES, PADS, TEXTS, needed

D = Decimal


# Brakes


@pytest.mark.parametrize("stem", PADS)
def test_a_rotor_below_its_minimum_passes_with_no_reason(stem: str) -> None:
    read = [step.reading for step in FILES[stem].steps if step.reading and step.reading.name.startswith("rotor")]
    assert [reading.name for reading in read] == ["rotor left", "rotor right"]
    assert all(reading.outside == "refuse" and reading.low and reading.high for reading in read)


@pytest.mark.parametrize("stem", PADS)
def test_pads_are_measured_old_and_new_on_both_sides(stem: str) -> None:
    lining = {
        step.reading.name: step.reading for step in FILES[stem].steps if step.reading and "lining" in step.reading.name
    }
    assert list(lining) == ["lining left", "lining right", "new lining"]
    assert all(reading.low is not None and reading.low >= 2 for reading in lining.values())
    assert lining["new lining"].outside == "refuse"


@pytest.mark.parametrize("stem", PADS)
def test_calipers_are_cleaned_pressed_back_torqued_and_bedded(stem: str) -> None:
    said = [f"{step.title} {step.text} {step.caution}" for step in FILES[stem].steps]
    order = ["Wash the dust off wet", "never on its hose", "reservoir may run over", "guide pins", "Brackets on",
             "new pads", "slide bolts", "Pump the pedal", "lug nuts crosswise", "ten gentle stops"]  # fmt: skip
    at = -1
    for words in order:
        at = next((i for i in range(at + 1, len(said)) if words.lower() in said[i].lower()), len(said))
    assert at < len(said), order
    assert any("no compressed air" in words for words in said)


def test_an_electric_parking_brake_is_in_service_mode_before_a_piston_is_pressed() -> None:
    steps = FILES["brake-pads-rear"].steps
    mode = next(step for step in steps if step.name == "service mode")
    pressed = next(step for step in steps if step.title.startswith("Press the pistons"))
    assert mode.hold_point and "service mode" in pressed.needs
    ended = next(step for step in steps if step.title.startswith("End the service mode"))
    assert "pedal" in ended.needs and ended.name in next(step for step in steps if step.name == "ready to roll").needs


def test_brake_fluid_is_bled_wheel_by_wheel_and_never_reused() -> None:
    written = FILES["brake-fluid"]
    assert written.fluid_kind == "brake fluid" and "DOT 4" in written.specification
    wheels = [step.name for step in written.steps if step.title.startswith("Bleed the")]
    assert wheels == ["rear right", "rear left", "front right", "front left"]  # farthest first, driver on the left
    assert set(wheels) <= needed(written, next(step for step in written.steps if step.kind == "fill"))
    assert "never goes back in" in " ".join(written.cautions)


# Coolant


def test_a_cooling_system_is_opened_cold_each_time() -> None:
    steps = FILES["coolant"].steps
    opened = [at for at, step in enumerate(steps) if step.title.startswith("Open the cap")]
    assert len(opened) == 2
    for at in opened:
        before = steps[at - 1].reading
        assert before is not None and (before.unit, before.high, before.outside) == ("degF", D(100), "refuse")
    assert steps[opened[0]].hold_point and "cold again" in steps[opened[1]].needs


def test_coolant_is_bled_held_under_pressure_and_read_for_frost() -> None:
    written = FILES["coolant"]
    assert written.fluid_kind == "coolant"
    read = {step.reading.name: step.reading for step in written.steps if step.reading}
    assert read["cap opens at"].target == 16 and read["pressure after ten minutes"].outside == "refuse"
    said = " ".join(f"{step.title} {step.text} {step.caution}" for step in written.steps)
    for words in ("freeze point", "thermostat has opened", "heater on full", "top up to the cold mark", "animal"):
        assert words in said, words
    assert not re.search(r"(?i)paste|magnet|dipstick|Used Oil", TEXTS["coolant"])
