"""The demo's procedures, read as a master technician reads them: nothing in them hurts anybody or ruins a unit.

What stands here of trade practice is common practice, no source, where none is named.
"""

import re
from decimal import Decimal

import pytest

from garage.units import convert
from invoicing.demo import cast, names
from invoicing.demo.cast import MODELS, OLD_CAR
from invoicing.demo.load import PROCEDURES
from jobs.matching import best_match
from jobs.procedure_files import parse
from jobs.procedure_schema import Step, Written

D = Decimal
FILES = {path.stem: parse(path.read_text(encoding="utf-8")) for path in sorted(PROCEDURES.glob("*.yaml"))}
TEXTS = {path.stem: path.read_text(encoding="utf-8") for path in sorted(PROCEDURES.glob("*.yaml"))}
EVERY = pytest.mark.parametrize("stem", FILES)
DRIVELINE = [stem for stem in FILES if any(word in stem for word in ("transfer", "differential", "axle"))]
FROM_ABOVE = [stem for stem in FILES if stem.startswith(("engine", "coolant", "brake-fluid"))]
PADS = ["brake-pads-front", "brake-pads-rear"]

#: The engine runs, the vehicle rolls or somebody stands on its brakes.
MOVES = re.compile(r"^(Drive|Run a minute|Start the engine|Bleed warm|Try the brakes|First stop)|\bdrive a short way\b")


def first(steps: tuple[Step, ...], kind: str) -> int:
    return next(at for at, step in enumerate(steps) if step.kind == kind)


def needed(written: Written, step: Step) -> set[str]:
    """The names of all steps that must be done before one, and before those."""
    by_name = {row.name: row for row in written.steps if row.name}
    wanted, found = list(step.needs), set()
    while wanted:
        name = wanted.pop()
        if name not in found:
            found.add(name)
            wanted += by_name[name].needs
    return found


def closings(steps: tuple[Step, ...]) -> list[Step]:
    """What was tightened or fitted since the last time something was drained: what would leak or come off."""
    return [step for step in since_drained(steps) if step.kind == "tighten"]


def since_drained(steps: tuple[Step, ...]) -> tuple[Step, ...]:
    last = max((at for at, step in enumerate(steps) if step.kind == "drain"), default=-1)
    return steps[last + 1 :]


# What each of them says


@EVERY
def test_a_procedure_says_what_it_must(stem: str) -> None:
    written = FILES[stem]
    assert written.source == "Invented for the demo; on a real vehicle the manufacturer's data comes first"
    assert written.tools and written.cautions and written.summary
    assert re.search(r"(?i)safety glasses|goggles", " ".join(written.tools))
    assert any(step.caution for step in written.steps)
    assert any(step.hold_point for step in written.steps)
    for step in written.steps:
        if step.kind == "tighten" and step.reading is not None:
            assert step.threads
            assert step.reading.low and step.reading.target and step.reading.high
            assert step.reading.low < step.reading.target < step.reading.high
        elif step.kind == "tighten":
            assert step.how


def test_all_the_procedures_the_story_needs_are_there() -> None:
    titles = {written.title for written in FILES.values()}
    assert len(titles) == len(FILES) >= 16
    assert {value for name, value in vars(names).items() if name.isupper() and isinstance(value, str)} <= titles
    assert len(cast.COMPANIES + cast.PEOPLE) == 40


@EVERY
def test_the_words_are_those_of_a_us_shop(stem: str) -> None:
    british = (
        r"(?i)\b(discs?|bush|estate|wheel bolts?|spanner|off-roader|sill|load room|tyres?|colou?r code|litres?|"
        r"mi/h|mph/h|bonnet|gearbox)\b"
    )
    assert re.findall(british, TEXTS[stem]) == []


# Whom they are for


def test_each_car_of_the_demo_has_the_procedure_for_its_engine() -> None:
    for model in MODELS.values():
        car = _car(model.make, model.model, model.engine, model.drivetrain)
        fits = [
            written
            for written in FILES.values()
            if written.component == "Engine" and best_match(written.applies_to, car) is not None
        ]
        assert len(fits) == 1, model
        sizes = [D(size) for size in re.findall(r"\d\.\d", fits[0].title)]
        size, kind = model.engine.split()
        assert min(sizes) <= D(size) <= max(sizes) and kind in fits[0].title, model
        # Common practice: a passenger engine holds from 1.3 to 4 times its displacement (the small ones most).
        assert fits[0].capacity is not None and D("1.3") < fits[0].capacity.value / D(size) < 4, model


@EVERY
def test_every_row_fits_a_car_of_the_demo(stem: str) -> None:
    """Coolant and brake fluid name their cars too: what applies to nothing is offered for nothing."""
    cars = [_car(model.make, model.model, model.engine, model.drivetrain) for model in MODELS.values()]
    assert FILES[stem].applies_to
    for row in FILES[stem].applies_to:
        assert any(best_match([row], car) is not None for car in cars), row


def test_the_old_car_gets_none_of_them() -> None:
    """A sedan of 1974 with drums all round and oil without detergents shares its maker's name, nothing else."""
    car = _car(str(OLD_CAR["make"]), str(OLD_CAR["model"]), str(OLD_CAR["engine"]), str(OLD_CAR["drivetrain"]), 1974)
    assert [stem for stem, written in FILES.items() if best_match(written.applies_to, car) is not None] == []


def _car(make: str, model: str, engine: str, drivetrain: str, year: int = 2020) -> "Car":
    return Car(make, model, year, engine, drivetrain)


class Car:
    def __init__(self, make: str, model: str, year: int | None, engine: str, drivetrain: str) -> None:
        self.make, self.model, self.year, self.engine, self.drivetrain = make, model, year, engine, drivetrain


# Under it


@EVERY
def test_it_is_raised_and_supported_before_anybody_is_under_it(stem: str) -> None:
    """29 CFR 1910.244(a)(2)(iii): a raised load is cribbed, blocked or otherwise secured at once (from memory)."""
    supported = False
    for step in FILES[stem].steps:
        if "support" in step.title:
            assert step.hold_point and re.search(
                r"(?i)stands with their pins in|stands carry it|then the stands", step.caution
            )
            assert "chock" in f"{step.text} {step.tool} {step.title}" and "must not move" in step.text
            supported = True
        elif re.search(r"(?i)\blower the vehicle|on its wheels|wheels on\b", step.title):
            assert re.search(
                r"(?i)tools and people out|look underneath|chocked", f"{step.title} {step.caution} {step.text}"
            )
            supported = False
        elif step.kind == "drain" or re.search(
            r"(?i)drain plug|fill plug|underneath|bleed the|bracket|pan up", step.title
        ):
            assert supported, step.title
    assert "jack" in " ".join(FILES[stem].cautions) or stem in PADS


@EVERY
def test_as_many_stands_are_fetched_as_are_used(stem: str) -> None:
    counts = re.findall(r"\b(two|three|four) stands", TEXTS[stem])
    assert len(counts) >= 2 and set(counts) == ({"two"} if stem in PADS else {"four"})


@EVERY
def test_nothing_is_filled_before_the_vehicle_is_level(stem: str) -> None:
    steps = FILES[stem].steps
    for at, step in enumerate(steps):
        if step.kind == "fill":
            assert any(earlier.hold_point and "level" in earlier.title for earlier in steps[:at]), step.title


@pytest.mark.parametrize("stem", FROM_ABOVE)
def test_what_is_filled_from_above_stands_on_its_wheels(stem: str) -> None:
    steps = FILES[stem].steps
    raised = max(at for at, step in enumerate(steps) if "support" in step.title)
    down = next(
        at for at, step in enumerate(steps) if at > raised and step.hold_point and "on its wheels" in step.title
    )
    assert down < first(steps, "fill")


@EVERY
def test_where_the_engine_runs_exhaust_and_people_are_thought_of(stem: str) -> None:
    said = [
        step for step in FILES[stem].steps if re.search(r"(?i)engine running|run a minute|start the engine", step.title)
    ]
    for step in said:
        assert re.search(r"(?i)exhaust|nobody", f"{step.caution} {step.text}"), step.title


@EVERY
def test_no_manual_is_started_in_the_gear_that_held_it(stem: str) -> None:
    """A manual is left in gear to hold it on its stands; started so, it jumps off its chocks."""
    written = FILES[stem]
    manuals = [model for model in MODELS.values() if "manual" in model.drivetrain]
    cars = [_car(model.make, model.model, model.engine, model.drivetrain) for model in manuals]
    if not any(best_match(written.applies_to, car) is not None for car in cars):
        return
    runs = re.compile(r"(?i)run a minute|bleed warm|engine running")
    running = [step for step in written.steps if runs.search(step.title)]
    assert running or stem in DRIVELINE
    for step in running:
        assert "out of gear" in f"{step.text} {step.caution}", step.title


@pytest.mark.parametrize("stem", [stem for stem in FILES if stem.startswith("transfer-case")])
def test_no_transfer_case_is_raised_in_neutral(stem: str) -> None:
    """With the case in neutral the selector in park holds nothing: the vehicle rolls off its stands."""
    raised = [step for step in FILES[stem].steps if "support" in step.title]
    assert raised and all("high range and not in neutral" in step.text for step in raised)


# What comes before what


@EVERY
def test_every_fill_needs_what_it_would_run_out_of(stem: str) -> None:
    steps = FILES[stem].steps
    for at, step in enumerate(steps):
        if step.kind == "fill":
            closed = {row.name for row in closings(steps[:at]) if row.name != "lug nuts"}
            assert closed and closed <= needed(FILES[stem], step), step.title


@EVERY
def test_nothing_moves_before_all_is_filled_and_tight_and_its_wheels_are_on(stem: str) -> None:
    steps = FILES[stem].steps
    moving = [at for at, step in enumerate(steps) if MOVES.search(step.title)]
    for at in moving:
        if stem == "transfer-case" and at == 0:  # the drive that warms it up: nothing was opened yet
            continue
        tight = {row.name for row in closings(steps[:at])}
        filled = {row.name for row in since_drained(steps[:at]) if row.kind == "fill"}
        assert tight and tight | filled <= needed(FILES[stem], steps[at]), steps[at].title
    assert moving


@pytest.mark.parametrize("stem", [*PADS, "brake-fluid"])
def test_no_car_with_its_wheels_off_or_its_brakes_open_rolls(stem: str) -> None:
    written = FILES[stem]
    nuts = next(step for step in written.steps if step.name == "lug nuts")
    assert nuts.kind == "tighten" and "crosswise" in nuts.title and "on the ground" in nuts.text
    assert nuts.reading is not None and nuts.reading.unit == "ft_lb"
    firm = [step for step in written.steps if step.hold_point and "pedal" in step.title.lower()]
    assert len(firm) == 2, "with the engine off before the wheels are on, with it running before it rolls"
    tried = next(step for step in written.steps if re.search(r"Try the brakes|First stop", step.title))
    assert firm[-1].name in tried.needs and "lug nuts" in tried.needs
    assert "50 mi" in tried.text


@pytest.mark.parametrize("stem", DRIVELINE)
def test_no_driveline_unit_is_drained_before_its_fill_plug_opens(stem: str) -> None:
    steps = FILES[stem].steps
    opens = [at for at, step in enumerate(steps) if "Fill plug opens" in step.title]
    drains = [at for at, step in enumerate(steps) if step.kind == "drain"]
    assert len(opens) == len(drains) and all(before < after for before, after in zip(opens, drains, strict=True))
    assert all(steps[at].hold_point and steps[at].caution for at in opens)
    assert drains[0] < first(steps, "sample") < first(steps, "fill")


def test_each_change_of_a_repeated_exchange_tightens_both_plugs() -> None:
    torques = [step for step in FILES["transfer-case-repeated"].steps if step.kind == "tighten"]
    assert [step.name for step in torques] == ["first drain plug", "first fill plug", "drain plug", "fill plug"]
    assert {step.reading and step.reading.high for step in torques} == {D(23)}


# How much of it


@EVERY
def test_no_filling_may_exceed_what_the_component_holds(stem: str) -> None:
    written = FILES[stem]
    if written.capacity is None:
        return
    inside = D(0)
    for step in written.steps:
        if step.kind == "drain":
            inside = D(0)
        elif step.kind == "fill":
            assert step.reading is not None and step.reading.high is not None
            inside += convert(step.reading.high, step.reading.unit, "L")
            assert inside <= written.capacity.value + D("0.000001"), step.title


@EVERY
def test_what_comes_out_and_what_goes_in_are_the_figures_of_the_whole(stem: str) -> None:
    """The half liter in the pan is in “drains”; what the parts say is what the fill steps fill, line by line."""
    written = FILES[stem]
    changes: list[Decimal] = []
    filled: dict[str, Decimal] = {need.name: D(0) for need in written.needs if need.quantity.base == "L"}
    before = ""
    for step in written.steps:
        if step.kind in ("drain", "fill"):
            assert step.reading is not None and step.reading.target is not None
            amount = convert(step.reading.target, step.reading.unit, "L")
            if step.kind == "fill":
                filled[step.uses] += amount
            elif before == "drain":
                changes[-1] += amount
            else:
                changes.append(amount)
            before = step.kind
    for name, amount in filled.items():
        need = next(need for need in written.needs if need.name == name)
        assert abs(need.quantity.value - amount) < D("0.000001"), name
    assert all(written.drain is not None and abs(written.drain.value - out) < D("0.000001") for out in changes)
    assert bool(changes) == (written.drain is not None)


def test_an_automatic_is_filled_warm_at_its_level_and_what_is_added_is_read() -> None:
    written = FILES["automatic-transmission"]
    warm, added = (next(step for step in written.steps if step.name == name) for name in ("temperature", "level"))
    assert warm.reading is not None and (warm.reading.low, warm.reading.high) == (D(35), D(45))
    assert warm.reading.outside == "refuse" and "temperature" in added.needs
    assert added.kind == "fill" and added.uses != next(step.uses for step in written.steps if step.kind == "fill")
    assert {"pan", "overflow pipe", "plugs in"} <= needed(written, added)


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


def test_cautions_stand_where_they_bite() -> None:
    for stem, words in {
        "coolant": ["pressure", "hot", "Used Antifreeze", "poisonous", "closed"],
        "brake-fluid": ["paint", "pedal", "Let the pressure out", "its own marked bottle", "lower mark", "DOT 5"],
        "brake-pads-front": ["Wet", "pedal", "never on its hose", "two"],
        "transfer-case": ["stands", "Threads in aluminum", "Used Oil"],
        "engine-oil-gasoline": ["hot oil", "Used Oil", "old gasket"],
        "automatic-transmission": ["Nobody underneath and", "Used Oil", "aluminum", "selector in park"],
        "brake-pads-rear": ["Wet", "pedal", "never on its hose", "hocked", "crush a hand"],
    }.items():
        written = FILES[stem]
        steps = " ".join(f"{step.title} {step.caution} {step.tool}" for step in written.steps)
        said = " ".join([*written.cautions, steps])
        assert [word for word in words if word not in said] == [], stem


def test_the_kind_of_fluid_is_that_of_the_component() -> None:
    kinds = {written.component: written.fluid_kind for written in FILES.values()}
    assert (kinds["Cooling system"], kinds["Brakes"], kinds["Automatic transmission"]) == (
        "coolant",
        "brake fluid",
        "automatic",
    )
    assert FILES["transfer-case-plowman"].fluid_kind == "automatic"  # it runs on transmission fluid
