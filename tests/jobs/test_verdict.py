"""The verdict on a fluid sample, held to what published manuals say (tests/reference/fluid-condition.json)."""

import json
from itertools import product
from pathlib import Path

import pytest

from jobs.models import FluidSample
from jobs.verdict import COLORS, LABORATORY, SCALE, SIGNS, Seen, judge

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


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["sign"])
def test_every_published_sign_is_taken_as_its_source_takes_it(row) -> None:
    sign = row["sign"]
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


def test_every_word_of_the_form_is_known_to_the_rule() -> None:
    choices = product(COLORS, FluidSample.Clarity.values, FluidSample.Particles.values, FluidSample.Smell.values)
    words = {judge(Seen(*seen)).word for seen in choices}
    assert words == set(SCALE) == set(FluidSample.Verdict.values)


def test_a_further_sign_never_makes_a_verdict_better() -> None:
    for color, clarity in product(COLORS, FluidSample.Clarity.values):
        without = SCALE.index(judge(Seen(color, clarity)).word)
        for particles, smell in product(FluidSample.Particles.values, FluidSample.Smell.values):
            assert SCALE.index(judge(Seen(color, clarity, particles, smell)).word) >= without


def test_every_sign_names_its_source_and_what_to_do() -> None:
    for sign in [*SIGNS.values(), *LABORATORY]:
        assert sign.source
        assert sign.meaning.endswith(".")
        assert sign.action.endswith(".")


@pytest.mark.parametrize("seen", [Seen(color=" "), Seen(clarity="muddy"), Seen(particles="sand"), Seen(smell="x")])
def test_an_unknown_word_is_refused(seen: Seen) -> None:
    with pytest.raises(ValueError, match="must be said|is not known"):
        judge(seen)
