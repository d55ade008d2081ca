"""Procedures as files: errors by line and field, and what is written reads back to the same."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.fluids import FLUIDS
from jobs.procedure_files import FIGURES, READ_IN, Unreadable, from_data, parse, write
from jobs.procedure_schema import KINDS, SCHEMA, TO_FILL_IN, Amount, Measure, Need, Step, Vehicles, Written
from tests.jobs.bay_cast import PROCEDURE

D = Decimal


def problems(text: str) -> list[str]:
    with pytest.raises(Unreadable) as unreadable:
        parse(text)
    return [str(problem) for problem in unreadable.value.problems]


def test_the_schema_by_example_is_a_procedure() -> None:
    written = parse(SCHEMA)
    assert written.title == "Transfer case fluid, change"
    assert written.drain == Amount(D("0.82"), "0.82 L", "L")
    assert (written.every_distance, written.distance_unit, written.every_months) == (30000, "mi", 36)
    assert written.applies_to == (Vehicles("Brannock", "Fell 2.4", 2012, 2019, "2.4 diesel", "4x4"),)
    assert written.steps[0].reading == Measure("amount in", "L", D("0.85"), D("0.80"), D("0.90"), "reason")
    assert parse(write(written)) == written


def test_amounts_are_read_in_any_unit_and_kept_as_written() -> None:
    written = parse(PROCEDURE.replace("drains: 0.82 L", "drains: 3/4 qt"))
    # 0.75 x 0.946352946 L (NIST Handbook 44, Appendix C), half-up at nine places.
    assert written.drain == Amount(D("0.709764710"), "3/4 qt", "L")


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("hours: 1.2", "hours: soon", "line 5, hours: “soon” is not a number."),
        ("hours: 1.2", "hours: -1", "line 5, hours: must not be below zero."),
        ("capacity: 0.95 L", "capacity: 9 psi", "line 6, capacity: “9 psi” must be a volume."),
        ("capacity: 0.95 L", "capacity: 0.5 L", "line 7, drains: 0.82 L cannot drain from a capacity of 0.5 L."),
        ("drains:", "drain:", "line 7, drain: is not known. Did you mean “drains”?"),
        ("distance: 30000 mi", "distance: 30000 kg", "“30000 kg” must be a whole number of mi or km."),
        ("months: 36", "months: 0", "line 11, repeat.months: “0” must be a whole number from 1 to 1200."),
        ("quantity: 2", "quantity: 2 psi", "needs[2].quantity: “2 psi” must be a volume or a count."),
        ("kind: sample", "kind: taste", "steps[3].kind: “taste” must be one of: do, check,"),
        ("uses: fluid", "uses: oil", "steps[6].uses: no need is called “oil”; there are: fluid, washer."),
        ("hold point: yes", "hold point: maybe", "hold point: “maybe” must be yes or no."),
        ("from: 0.6, to: 1", "from: 2, to: 1", "reading.from: 2 must not be above 1."),
        ("unit: ft lb", "unit: stone", "reading.unit: Unit “stone” is not known."),
        ("component: Transfer case", "component: [a, b]", "line 3, component: must be one value"),
        ("  - name: washer", "  - washer", "This is not YAML"),
        ("hours: 1.2", "hours: 1.2\nhours: 2", "line 6, hours: stands here a second time."),
    ],
)
def test_a_mistake_is_named_by_line_and_field(old: str, new: str, expected: str) -> None:
    found = problems(PROCEDURE.replace(old, new, 1))
    assert any(expected in problem for problem in found), found


STEP = """procedure: A
component: Hood
hours: 1
steps:
  - kind: {kind}
    title: Work
    reading:
      name: read
      unit: {unit}
      target: 39
      from: 35
      to: 43
"""


@pytest.mark.parametrize(
    ("kind", "unit", "expected"),
    [
        ("tighten", "bar", "line 9, steps[1].reading.unit: bar is no torque: a tighten step is read in N·m, ft·lb"),
        ("fill", "N m", "line 9, steps[1].reading.unit: N·m is no volume: a fill step is read in L,"),
        ("drain", "°C", "line 9, steps[1].reading.unit: °C is no volume"),
        ("sample", "mm", "line 9, steps[1].reading.unit: mm is no volume"),
    ],
)
def test_a_reading_of_the_wrong_dimension_is_refused_by_its_line(kind: str, unit: str, expected: str) -> None:
    found = problems(STEP.format(kind=kind, unit=unit))
    assert len(found) == 1
    assert found[0].startswith(expected)


def test_a_target_outside_its_own_limits_is_refused_by_its_line() -> None:
    text = STEP.format(kind="tighten", unit="N m")
    assert problems(text.replace("39", "34")) == [
        "line 10, steps[1].reading.target: 34 lies below its own limit, from 35."
    ]
    assert problems(text.replace("39", "44")) == [
        "line 10, steps[1].reading.target: 44 lies above its own limit, to 43."
    ]
    assert parse(text.replace("39", "43")).steps[0].reading


def test_a_tighten_step_says_its_torque_or_how() -> None:
    bare = STEP.format(kind="tighten", unit="N m").partition("    reading:")[0]
    expected = "line 5, steps[1].how: say the torque"
    assert problems(bare)[0].startswith(expected)
    assert problems(bare + "    reading: {name: torque, unit: N m}\n")[0].startswith(expected)
    assert parse(bare + "    how: by hand, contact and 3/4 turn\n").steps[0].how == "by hand, contact and 3/4 turn"
    assert parse(bare.replace("tighten", "check")).steps[0].how == ""


def test_a_figure_still_to_be_filled_in_is_accepted_and_named() -> None:
    text = PROCEDURE.replace("0.95 L", "to be filled in").replace("quantity: 0.85 L", "quantity: To be filled in")
    text = text.replace("target: 13, from: 12", "target: to be filled in, from: 12")
    written = parse(text)
    assert written.missing == [
        "capacity",
        "quantity of fluid",
        "torque at “Tighten the drain plug” (target)",
        "torque at “Tighten the fill plug” (target)",
    ]
    assert parse(write(written)) == written
    assert parse(PROCEDURE).missing == []


NAMED = """procedure: Oil
component: Engine
hours: 1
steps:
  - title: Tighten the drain plug
    name: drain plug
  - title: Fit the filter
    name: filter
  - title: Fill
    needs: [filter, drain plug]
"""


def test_a_step_names_the_earlier_steps_it_needs() -> None:
    written = parse(NAMED)
    assert [step.name for step in written.steps] == ["drain plug", "filter", ""]
    assert written.steps[2].needs == ("drain plug", "filter"), "in the order of the steps"
    assert parse(write(written)) == written


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            "needs: [filter, drain plug]",
            "needs: [filler]",
            "line 10, steps[3].needs: no step is called “filler”; there are: drain plug, filter.",
        ),
        (
            "    name: drain plug",
            "    name: drain plug\n    needs: [filter]",
            "line 7, steps[1].needs: “filter” does not come before this step.",
        ),
        (
            "    name: filter",
            "    name: filter\n    needs: [filter]",
            "line 9, steps[2].needs: “filter” does not come before this step.",
        ),
        (
            "    name: filter",
            "    name: drain plug",
            "line 8, steps[2].name: another step is called “drain plug”; each needs a name of its own.",
        ),
        ("needs: [filter, drain plug]", "needs: filter", "line 10, steps[3].needs: must be a list,"),
        ("    name: filter", f"    name: {'f' * 41}", "line 8, steps[2].name: has 41 characters; at most 40 fit."),
    ],
)
def test_a_need_that_cannot_be_kept_is_named_by_line(old: str, new: str, expected: str) -> None:
    found = problems(NAMED.replace(old, new, 1))
    assert any(expected in problem for problem in found), found


def test_every_mistake_is_named_at_once_in_order() -> None:
    found = problems("procedure: A\nhours: x\nsteps:\n  - text: no title\n")
    assert [problem.partition(",")[0] for problem in found] == ["line 1", "line 2", "line 4"]


@pytest.mark.parametrize(
    "text", ["", "just words", "- a\n- b", "a: [", "{" * 5000, "a: 1\n---\nb: 2", "\x00", "a: " + "x" * 300_000]
)
def test_what_is_no_procedure_is_refused_in_words(text: str) -> None:
    assert problems(text)


def test_plain_data_is_read_like_a_file() -> None:
    data = {"procedure": "Look", "component": "Hood", "hours": "0.1", "steps": [{"title": "Open the hood"}]}
    assert from_data(data).steps == (Step("do", "Open the hood"),)


WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=12)
LITERS = st.decimals(D("0.001"), D("50"), places=3).map(lambda value: Amount(value, f"{value} L", "L"))
UNKNOWN = st.just(Amount(D(0), TO_FILL_IN, ""))
NUMBERS = st.decimals(D(0), D(500), places=2)


UNITS = {"torque": ["ft_lb", "N_m"], "volume": ["L", "qt"], "": ["ft_lb", "L", "degC", "psi", "mm"]}


@st.composite
def measures(draw: st.DrawFn, kind: str) -> Measure:
    numbers = NUMBERS if READ_IN.get(kind) is None else st.decimals(D("0.01"), D(500), places=2)
    figures = dict(zip(FIGURES, sorted([draw(numbers), draw(numbers), draw(numbers)]), strict=True))
    figures["target"], figures["from"] = figures["from"], figures["target"]  # the middle one is the target
    unfilled = tuple(name for name in FIGURES if draw(st.booleans()))
    target, low, high = (None if name in unfilled else figures[name] for name in FIGURES)
    unit = draw(st.sampled_from(UNITS[READ_IN.get(kind, "")]))
    outside = draw(st.sampled_from(["reason", "refuse"]))
    return Measure(draw(WORDS), unit, target, low, high, outside, unfilled)


@st.composite
def steps(draw: st.DrawFn, uses: st.SearchStrategy[str]) -> Step:
    kind = draw(st.sampled_from(KINDS))
    words = [draw(WORDS) for _ in range(4)]
    reading = draw(st.none() | measures(kind))
    title, text, tool, caution = words
    return Step(
        kind,
        title,
        text,
        tool,
        caution,
        hold_point=draw(st.booleans()),
        uses=draw(uses),
        threads=draw(WORDS),
        how=draw(WORDS),
        reading=reading,
    )


@st.composite
def procedures(draw: st.DrawFn) -> Written:
    needs = draw(
        st.lists(
            st.builds(Need, WORDS, LITERS | UNKNOWN, WORDS, st.just(""), st.booleans()),
            max_size=3,
            unique_by=lambda n: n.name,
        )
    )
    uses = st.sampled_from(["", *(need.name for need in needs)])
    named: list[Step] = []
    for plain in draw(st.lists(steps(uses), min_size=1, max_size=4)):
        earlier = [other.name for other in named if other.name]
        chosen = draw(st.sets(st.sampled_from(earlier))) if earlier else set()
        name = draw(st.sampled_from(["", f"step {len(named)}"]))
        named.append(replace(plain, name=name, needs=tuple(name for name in earlier if name in chosen)))
    return Written(
        title=draw(WORDS),
        component=draw(WORDS),
        hours=draw(NUMBERS),
        steps=tuple(named),
        capacity=draw(st.none() | (st.none() if any(step.kind == "fill" for step in named) else LITERS)),
        fluid_kind=draw(st.sampled_from(list(FLUIDS))),
        every_distance=draw(st.none() | st.integers(1, 999_999)),
        tools=tuple(draw(st.lists(WORDS, max_size=3))),
        needs=tuple(needs),
    )


@given(procedures())
def test_what_is_written_reads_back_to_the_same(written: Written) -> None:
    assert parse(write(written)) == written
