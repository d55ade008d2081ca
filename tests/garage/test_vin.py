"""Reading a VIN: public test vectors, the worked sums of the rule, and slips of the pen."""

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from garage.vin import check_digit, read_vin

REFERENCE = Path(__file__).parents[1] / "reference"
SAMPLE = "1G4AH59H45G118341"  # 49 CFR 565.15 Table VI
ALPHABET = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"
RULES = json.loads((REFERENCE / "vin-rules.json").read_text(encoding="utf-8"))
BODIES = st.text(ALPHABET, min_size=16, max_size=16)


def vectors() -> list[dict[str, str]]:
    with (REFERENCE / "vin-vectors.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def with_check_digit(body: str) -> str:
    """Sixteen characters with the digit that the rule asks for set in between."""
    return body[:8] + check_digit(body[:8] + "0" + body[8:]) + body[8:]


@pytest.mark.parametrize("row", vectors(), ids=lambda row: row["vin"])
def test_public_vectors(row: dict[str, str]) -> None:
    vin = read_vin(row["vin"])
    assert vin.vin == row["vin"]
    assert vin.region == row["region"]
    assert vin.ok is (row["structure_ok"] == "True")
    candidates = tuple(int(year) for year in row["candidate_years"].split())
    if not vin.ok:
        assert vin.problems
        assert vin.model_years == ()
        return
    assert check_digit(vin.vin) == row["computed_check_digit"]
    american = vin.region == "North America"
    assert bool(vin.problems) is (american and row["check_digit_ok"] == "False")
    if american and candidates:
        assert vin.model_years == (candidates[0 if vin.vin[6].isdigit() else 1],)
    else:
        assert vin.model_years == candidates
    if row["published_year"]:
        assert int(row["published_year"]) in vin.model_years


@pytest.mark.parametrize("row", RULES["worked_sums"], ids=lambda row: row["vin"])
def test_worked_sums_of_the_rule(row: dict[str, Any]) -> None:
    assert sum(row["products"]) == row["total"]
    assert row["total"] % 11 == row["remainder"]
    assert check_digit(row["vin"]) == str(row["remainder"]) == row["vin"][8]
    assert read_vin(row["vin"]).problems == ()


def test_year_codes_of_the_rule() -> None:
    """49 CFR 565.15(d), Table VII; the codes that stand for no year give none."""
    for code, years in RULES["year_codes"].items():
        assert read_vin(f"WBA000000{code}0000000").model_years == tuple(years)
        assert read_vin(with_check_digit(f"1G000000{code}0000000")).model_years == (years[0],)
        assert read_vin(with_check_digit(f"1G0000A0{code}0000000")).model_years == (years[1],)
    for code in "UZ0":
        assert read_vin(f"WBA000000{code}0000000").model_years == ()


def test_regions_by_the_first_character() -> None:
    expected = {"A": "Africa", "H": "Africa", "J": "Asia", "R": "Asia", "S": "Europe", "Z": "Europe"}
    expected |= {"1": "North America", "5": "North America", "6": "Oceania", "8": "South America"}
    expected |= {"9": "South America", "7A": "Oceania", "7E": "Oceania"}
    expected |= {"7F": "North America", "7S": "North America", "70": "North America"}  # from memory
    for start, region in expected.items():
        assert read_vin(start.ljust(17, "0")).region == region
    assert read_vin("0" * 17).region == ""
    assert read_vin("").region == ""


def test_a_wrong_check_digit_is_a_warning_where_the_digit_is_required() -> None:
    vin = read_vin("1G4AH59H45G118331")  # sum 408, 1 expected
    assert vin.ok
    assert vin.problems == ("VIN check digit (position 9) is 4, but should be 1: compare it with the car.",)


def test_a_remainder_of_ten_is_an_x() -> None:
    assert read_vin("1M8GDM9AXKP042788").problems == ()  # sum 351
    assert read_vin("11111111111111111").problems == ()  # sum 89


@pytest.mark.parametrize("text", [SAMPLE[:-1], SAMPLE + "1", "", " - "])
def test_a_wrong_length_is_an_error(text: str) -> None:
    vin = read_vin(text)
    assert not vin.ok
    assert vin.problems[0].startswith(f"VIN must have 17 characters, not {len(text.strip(' -'))}")


@pytest.mark.parametrize("letter", ["I", "O", "Q", "i", "?", "É", "ß", "ı", "１"])
def test_a_letter_that_no_vin_has_is_an_error(letter: str) -> None:
    vin = read_vin(letter + SAMPLE[1:])
    assert not vin.ok
    assert "must not contain" in vin.problems[-1]
    assert vin.model_years == ()


def test_spaces_dashes_and_lower_case_are_forgiven() -> None:
    assert read_vin(" 1g4-ah59h4 5g\t118341\n") == read_vin("1G4AH59H4–5G118341") == read_vin(SAMPLE)
    assert read_vin(SAMPLE).vin == SAMPLE


def test_position_seven_decides_the_year_of_light_vehicles_only() -> None:
    """49 CFR 565.15(d): up to 10,000 lb. Position 10 is 5, position 7 a digit."""
    assert read_vin(SAMPLE).model_years == (2005,)
    heavy = read_vin("1XPTD40X6JD456115", heavy=True)
    assert heavy.model_years == (1988, 2018)
    assert read_vin(SAMPLE, heavy=True).model_years == (2005, 2035)


@pytest.mark.parametrize("text", [None, 11111111111111111, b"1G4AH59H45G118341"])
def test_a_vin_is_text(text: Any) -> None:
    with pytest.raises(ValueError, match=r"^VIN must be text"):
        read_vin(text)


@given(BODIES)
def test_the_right_check_digit_leaves_no_problem(body: str) -> None:
    vin = read_vin(with_check_digit(body))
    assert vin.ok
    assert vin.problems == ()


@given(BODIES, st.integers(0, 16), st.sampled_from("0123456789"))
def test_one_misread_digit_is_noticed_in_north_america(body: str, position: int, digit: str) -> None:
    right = with_check_digit("4" + body[1:])
    wrong = right[:position] + digit + right[position + 1 :]
    assume(wrong[0] in "12345" and right[position].isdigit() and digit != right[position])
    assert read_vin(wrong).problems


@given(st.text(max_size=20), st.booleans())
def test_whatever_is_typed_gets_an_answer(text: str, heavy: bool) -> None:
    vin = read_vin(text, heavy)
    assert vin.ok is (len(vin.vin) == 17 and set(vin.vin) <= set(ALPHABET))
    assert vin.ok or vin.problems
    assert read_vin(vin.vin, heavy) == vin
