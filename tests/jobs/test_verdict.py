"""The verdict on a fluid sample, held to what published manuals say (tests/reference/fluid-condition.json)."""

import csv
import json
from decimal import Decimal
from itertools import product
from pathlib import Path

import pytest

from jobs.fluid_signs import LABORATORY
from jobs.fluids import BRAKE, BRAKE_GRADES, COOLANT, FLUIDS, OIL, minimums, read_figure
from jobs.models import FluidSample
from jobs.verdict import SCALE, Seen, judge

D = Decimal
WORDS = FLUIDS[OIL].words
COLORS = list(WORDS["color"])
ROWS = json.loads(Path(__file__).parents[1].joinpath("reference/fluid-condition.json").read_text())["observations"]

#: How each published sign is seen in the words of our form, and the mildest verdict that does its advice justice.
SEEN = {
    "burnt smell or brown colour": (Seen(color="brown", smell="burnt"), "spent"),
    "specks on white tissue, or gum/varnish on dipstick (antifreeze)": (Seen(clarity="opaque"), "worn"),
    "opaque pink": (Seen(color="pink", clarity="opaque"), "contaminated"),
    "large pieces of metal or other material in pan": (Seen(particles="chunks"), "spent"),
    "metal particles (beyond the minute ones in the filter)": (Seen(particles="flakes"), "spent"),
    "milky": (Seen(clarity="milky"), "contaminated"),
    "acrid smell / dark": (Seen(color="black", smell="other"), "worn"),
}
#: Signs that are no fault by themselves: the harshest verdict that still agrees with the source.
NO_FAULT = {
    "caramel, translucent": (Seen(color="amber"), "serviceable"),
    "colour change": (Seen(color="black"), "serviceable"),
}
IN_A_LABORATORY = {
    "water content above 0.2%",
    "viscosity high",
    "viscosity low",
    "silicon rising",
    "sodium rising",
}
with Path(__file__).parents[1].joinpath("reference/brake-fluid-fmvss116.csv").open() as table:
    GRADES = list(csv.DictReader(table))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["sign"])
def test_every_published_sign_is_taken_as_its_source_takes_it(row) -> None:
    sign = row["sign"].replace(" %", "%")  # a percent as the screens write it
    if sign in IN_A_LABORATORY:
        assert sign in {known.sign for known in LABORATORY}
    elif sign in NO_FAULT:
        seen, harshest = NO_FAULT[sign]
        assert SCALE.index(judge(seen).word) <= SCALE.index(harshest)
    else:
        seen, mildest = SEEN[sign]
        assert SCALE.index(judge(seen).word) >= SCALE.index(mildest)


def test_color_alone_never_makes_clear_fluid_worse_than_serviceable() -> None:
    """NHTSA interpretation aiam4833 (40 FR 56928); ASTM D1500: color is not a reliable guide to quality."""
    for color in COLORS:
        assert judge(Seen(color=color)).word in ("fresh", "serviceable")


def test_brown_and_clear_is_serviceable_but_brown_and_burnt_is_not() -> None:
    assert judge(Seen(color="brown")).word == "serviceable"
    assert judge(Seen(color="brown", smell="burnt")).word == "spent"


def test_a_fine_gray_paste_on_the_magnet_is_usual_wear() -> None:
    """Common practice, no source."""
    assert judge(Seen(particles="paste")).word == "serviceable"


def test_like_fresh_and_clear_is_fresh() -> None:
    assert judge(Seen()).word == "fresh"


def test_the_worst_sign_decides_and_stands_first() -> None:
    verdict = judge(Seen("dark brown", "milky", "glitter", "burnt"))
    assert verdict.word == "contaminated"
    assert verdict.signs[0].sign == "milky"
    assert len(verdict.signs) == 4


@pytest.mark.parametrize("kind", FLUIDS)
def test_every_word_of_the_form_is_known_to_the_rule_and_has_a_label(kind: str) -> None:
    words = FLUIDS[kind].words
    offered = product(*(words.get(thing, [""]) for thing in ("color", "clarity", "particles", "smell")))
    found = {judge(Seen(color, clarity, particles, smell, kind)).word for color, clarity, particles, smell in offered}
    assert found == set(SCALE) == set(FluidSample.Verdict.values)
    assert set(words["clarity"]) <= set(FluidSample.Clarity.values)
    assert set(words["particles"]) <= set(FluidSample.Particles.values)
    assert set(words.get("smell", ())) <= set(FluidSample.Smell.values)


@pytest.mark.parametrize("kind", FLUIDS)
def test_a_further_sign_never_makes_a_verdict_better(kind: str) -> None:
    words = FLUIDS[kind].words
    for color, clarity in product(words["color"], words["clarity"]):
        without = SCALE.index(judge(Seen(color, clarity, kind=kind)).word)
        for particles, smell in product(words["particles"], words.get("smell", [""])):
            assert SCALE.index(judge(Seen(color, clarity, particles, smell, kind=kind)).word) >= without


@pytest.mark.parametrize("name", BRAKE_GRADES)
def test_brake_fluid_is_held_to_the_boiling_points_of_its_grade(name: str) -> None:
    """49 CFR 571.116, in tests/reference/brake-fluid-fmvss116.csv."""
    row = next(row for row in GRADES if row["grade"] == f"DOT {name}")
    dry, wet = D(row["dry_erbp_min_C"]), D(row["wet_erbp_min_C"])
    assert minimums(f"Brake fluid {row['grade']}") == (dry, wet)

    def word(boils: Decimal) -> str:
        seen = Seen(kind=BRAKE, boiling_point=boils, specification=f"Brake fluid {row['grade']}, low viscosity")
        return judge(seen).word

    assert (word(wet - 1), word(wet), word(dry)) == ("spent", "serviceable", "fresh")


def test_water_in_brake_fluid_decides() -> None:
    """Common practice, no source: 2 % is worn, 3 % is spent."""
    assert [judge(Seen(kind=BRAKE, water=D(water))).word for water in ("1.9", "2", "2.9", "3")] == [
        "fresh",
        "worn",
        "worn",
        "spent",
    ]


def test_what_a_change_by_itself_mends_stops_nothing_but_another_fluid_does() -> None:
    assert not judge(Seen(kind=BRAKE, water=D(4))).stopping
    assert judge(Seen(color="purple", kind=BRAKE)).stopping
    assert judge(Seen(clarity="layers", kind=BRAKE)).word == "contaminated"
    assert judge(Seen(particles="film", kind=COOLANT)).stopping
    assert judge(Seen(particles="glitter")).stopping
    assert not judge(Seen(particles="paste", color="black")).stopping


def test_coolant_that_freezes_early_is_worn() -> None:
    """From memory: a third of ethylene glycol in water freezes at about -18 °C."""
    assert judge(Seen(kind=COOLANT, freeze_point=D(-18))).word == "fresh"
    assert judge(Seen(kind=COOLANT, freeze_point=D(-10))).word == "worn"


def test_a_figure_is_read_with_its_sign_and_its_unit() -> None:
    assert read_figure("freeze_point", "-34 °F") == read_figure("freeze_point", "−34 f")
    assert round(read_figure("freeze_point", "-34 °F"), 2) == D("-36.67")  # (-34 - 32) x 5/9, NIST SP 811
    assert read_figure("boiling_point", "155C") == 155
    assert read_figure("water", "2,5 %") == D("2.5")


@pytest.mark.parametrize(
    ("name", "typed", "sentence"),
    [
        ("freeze_point", "-34", "no unit"),
        ("freeze_point", "34 °F", "with its minus"),
        ("freeze_point", "-34 qt", "not a temperature"),
        ("freeze_point", "cold °F", "not understood"),
        ("boiling_point", "30 °C", "boils between"),
        ("water", "101", "percentage"),
        ("water", "much", "percentage"),
    ],
)
def test_a_figure_that_cannot_be_is_refused(name: str, typed: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        read_figure(name, typed)


def test_every_sign_names_its_source_and_what_to_do() -> None:
    for sign in [*(sign for fluid in FLUIDS.values() for sign in fluid.signs.values()), *LABORATORY]:
        assert sign.source
        assert sign.meaning.endswith(".")
        assert sign.action.endswith(".")


@pytest.mark.parametrize(
    "seen",
    [
        Seen(color=" "),
        Seen(clarity="muddy"),
        Seen(particles="sand"),
        Seen(smell="x"),
        Seen(kind="wine"),
        Seen(particles="paste", kind=COOLANT),
    ],
)
def test_an_unknown_word_is_refused(seen: Seen) -> None:
    with pytest.raises(ValueError, match="must be said|is not known"):
        judge(seen)
