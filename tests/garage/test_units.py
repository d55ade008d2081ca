"""Units: exact factors, quantities as people type them, and figures in both units."""

import csv
from decimal import Decimal, localcontext
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from garage.numbers import ANSWER
from garage.units import (
    DIMENSION,
    both,
    convert,
    label,
    other_unit,
    parse_quantity,
    price_per,
    unit_code,
)

REFERENCE = Path(__file__).parents[1] / "reference"
D = Decimal

# The size of each unit in the smallest one of its dimension, as exact ratios, apart from the module's own table:
# NIST Handbook 44 Appendix C (231 cubic inches), SP 811 Appendix B, UK Weights and Measures Act 1985 (4.54609 L).
POUND_FORCE = Fraction(45359237, 10**8) * Fraction(980665, 10**5)
INCH = Fraction(254, 10**4)
US_GALLON = 231 * INCH**3 * 1000
SIZES = {
    "L": Fraction(1),
    "mL": Fraction(1, 1000),
    "gal": US_GALLON,
    "qt": US_GALLON / 4,
    "floz": US_GALLON / 128,
    "impgal": Fraction(454609, 10**5),
    "impqt": Fraction(454609, 4 * 10**5),
    "N_m": Fraction(1),
    "ft_lb": POUND_FORCE * INCH * 12,
    "in_lb": POUND_FORCE * INCH,
    "mi": Fraction(1609344, 1000),
    "km": Fraction(1000),
    "mm": Fraction(1, 1000),
    "in": INCH,
    "kPa": Fraction(1000),
    "psi": POUND_FORCE / INCH**2,
    "bar": Fraction(10**5),
    "kg": Fraction(1),
    "lb": Fraction(45359237, 10**8),
    "each": Fraction(1),
}
PAIRS = [(a, b) for a in SIZES for b in SIZES if DIMENSION[a] == DIMENSION[b]]
VALUES = st.decimals(min_value=-(10**9), max_value=10**9, places=9)


def rows(name: str) -> list[dict[str, str]]:
    with (REFERENCE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def as_printed(value: Decimal, printed: str) -> bool:
    """Whether `value` rounds to the printed figure: it is off by half of the last printed place at most."""
    exponent = D(printed).as_tuple().exponent
    assert isinstance(exponent, int)
    return abs(value - D(printed)) <= D("0.5").scaleb(exponent)


# Conversion against printed figures


@pytest.mark.parametrize("row", rows("unit-cases.csv"), ids=lambda row: f"{row['id']}-{row['unit']}-{row['to']}")
def test_worked_conversions(row: dict[str, str]) -> None:
    converted = convert(D(row["value"]), row["unit"], row["to"])
    if row["exact"] == "1":
        assert converted == D(row["expected"])
    else:
        assert as_printed(converted, row["expected"])


@pytest.mark.parametrize("row", rows("unit-conversions.csv"), ids=lambda row: f"{row['unit']}-{row['to']}")
def test_factors_printed_by_nist(row: dict[str, str]) -> None:
    printed = row["factor_as_printed"].replace(" E", "E").replace(" ", "")
    factor = convert(D(1), row["unit"], row["to"])
    assert factor == D(printed) if row["exact"] == "True" else as_printed(factor, printed)


@pytest.mark.parametrize("row", rows("unit-temperature.csv"), ids=lambda row: f"{row['value']}{row['from']}")
def test_temperatures_by_the_printed_formula(row: dict[str, str]) -> None:
    assert as_printed(convert(D(row["value"]), row["from"], row["to"]), row["expected"])


@pytest.mark.parametrize("row", rows("unit-display-pairs.csv"), ids=lambda row: f"{row['liters']}L-{row['unit']}")
def test_capacities_printed_in_both_units(row: dict[str, str]) -> None:
    assert as_printed(convert(D(row["liters"]), "L", row["unit"]), row["printed"])


def test_same_names_of_a_quart_are_not_the_same_quart() -> None:
    assert convert(D(1), "qt", "L") == D("0.946352946")
    assert convert(D(1), "impqt", "L") == D("1.1365225")
    assert convert(D(1), "impgal", "impqt") == convert(D(1), "gal", "qt") == 4


@pytest.mark.parametrize(("unit", "to"), PAIRS)
def test_each_factor_is_right_to_the_28th_digit(unit: str, to: str) -> None:
    ratio = SIZES[unit] / SIZES[to]
    with localcontext(ANSWER):
        expected = D(ratio.numerator) / D(ratio.denominator)
    assert convert(D(1), unit, to) == expected


@given(VALUES, st.sampled_from(PAIRS))
@settings(deadline=None)
def test_a_round_trip_gives_back_the_typed_value(value: Decimal, pair: tuple[str, str]) -> None:
    unit, to = pair
    assert abs(convert(convert(value, unit, to), to, unit) - value) <= abs(value) * D("1E-27")


@given(VALUES, VALUES, st.sampled_from([*PAIRS, ("degC", "degF"), ("degF", "degC")]))
@settings(deadline=None)
def test_more_is_more_in_any_unit(one: Decimal, other: Decimal, pair: tuple[str, str]) -> None:
    low, high = sorted((abs(one), abs(other)))
    assert convert(low, *pair) <= convert(high, *pair)


@given(st.decimals(min_value=D("-273.15"), max_value=2000, places=2))
@settings(deadline=None)
def test_temperatures_agree_with_exact_fractions(celsius: Decimal) -> None:
    assert convert(celsius, "degC", "degF") == celsius * D("1.8") + 32


def test_a_value_in_its_own_unit_stays_as_typed() -> None:
    assert str(convert(D("0.850"), "L", "L")) == "0.850"
    assert str(convert(D("0.85"), "L", "mL")) == "850"


def test_absolute_zero_is_the_coldest() -> None:
    assert convert(D("-273.15"), "degC", "degF") == D("-459.67")
    assert convert(D("-459.67"), "degF", "degC") == D("-273.15")
    for value, unit in (("-273.16", "degC"), ("-459.68", "degF")):
        for to in ("degC", "degF"):
            with pytest.raises(ValueError, match=r"^Value is below absolute zero"):
                convert(D(value), unit, to)


@pytest.mark.parametrize(
    ("unit", "to"), [("L", "kg"), ("N_m", "L"), ("mi", "L"), ("psi", "N_m"), ("each", "L"), ("degC", "kg")]
)
def test_unlike_things_do_not_convert(unit: str, to: str) -> None:
    with pytest.raises(ValueError, match=r"^Unit .* measures .*, but .* measures .*\.$"):
        convert(D(1), unit, to)


@pytest.mark.parametrize("unit", ["", "l", "quart", "oz", "liter", "kelvin", "N_m * L", None, 3, ["L"]])
def test_an_unknown_code_is_refused(unit: Any) -> None:
    with pytest.raises(ValueError, match=r"^Unit .* is not known"):
        convert(D(1), unit, "L")
    with pytest.raises(ValueError, match=r"^Unit .* is not known"):
        convert(D(1), "L", unit)


@pytest.mark.parametrize("value", [D("NaN"), D("sNaN"), D("Infinity"), D("1E+18"), 0.5, True, None, "1"])
def test_a_value_must_be_an_exact_finite_number(value: Any) -> None:
    with pytest.raises(ValueError, match=r"^Value (must|is)"):
        convert(value, "L", "qt")


def test_the_callers_decimal_context_does_not_matter() -> None:
    with localcontext() as context:
        context.prec = 4
        assert convert(D("4.5"), "qt", "L") == D("4.258588257")
        assert price_per(D(36), "L", "qt") == D("34.068706056")


# Prices


def test_a_liter_at_36_is_34_07_a_quart() -> None:
    assert price_per(D(36), "L", "qt") == D("34.068706056")


def test_a_liter_at_40_is_37_85_a_quart() -> None:
    """Common practice, no source."""
    assert round(price_per(D("40.00"), "L", "qt"), 2) == D("37.85")


def test_a_pail_price_by_the_gallon_and_the_drum() -> None:
    assert price_per(D(4), "qt", "gal") == 16
    assert price_per(D(10), "each", "each") == 10


@given(st.decimals(min_value=0, max_value=10**6, places=6), st.sampled_from(["mL", "gal", "qt", "floz", "impqt"]))
@settings(deadline=None)
def test_the_same_fluid_costs_the_same_in_any_unit(price: Decimal, to: str) -> None:
    liters = D(3)
    assert price_per(price, "L", to) * convert(liters, "L", to) == pytest.approx(price * liters, rel=D("1E-26"))


@pytest.mark.parametrize(
    ("price", "per", "to", "sentence"),
    [
        (D(-1), "L", "qt", "Price must not be below zero"),
        (D("NaN"), "L", "qt", "Price must be a finite number"),
        (36.0, "L", "qt", "Price must be an exact decimal number"),
        (D(1), "L", "kg", "Unit L measures volume, but kg measures mass"),
        (D(1), "L", "pint", "Unit “pint” is not known"),
        (D(1), "degC", "degF", "Price cannot be for a temperature"),
    ],
)
def test_a_price_that_makes_no_sense(price: Any, per: str, to: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=f"^{sentence}"):
        price_per(price, per, to)


# Quantities as typed


@pytest.mark.parametrize(
    ("text", "number", "unit"),
    [
        ("0.85 L", "0.85", "L"),
        ("0,85 L", "0.85", "L"),
        ("0,850 L", "0.850", "L"),
        ("1234,500 ml", "1234.500", "mL"),
        ("1.500 L", "1.500", "L"),
        (".5 l", "0.5", "L"),
        ("850 ml", "850", "mL"),
        ("850ML", "850", "mL"),
        ("3/4 qt", "0.75", "qt"),
        ("1 1/2 gal", "1.5", "gal"),
        ("1½ gal", "1.5", "gal"),
        ("1 ½ gal", "1.5", "gal"),
        ("½qt", "0.5", "qt"),
        ("3⁄4 qt", "0.75", "qt"),
        ("1/3 qt", "0.3333333333333333333333333333", "qt"),
        ("0 L", "0", "L"),
        ("  2\N{NO-BREAK SPACE}quarts ", "2", "qt"),
        ("2 U.S. quarts", "2", "qt"),
        ("2 Imp. qt", "2", "impqt"),
        ("2 UK gallons", "2", "impgal"),
        ("2 imperial gallons", "2", "impgal"),
        ("3 fl. oz.", "3", "floz"),
        ("3 fluid ounces", "3", "floz"),
        ("3 US fl oz", "3", "floz"),
        ("2 litres", "2", "L"),
        ("25 ft-lb", "25", "ft_lb"),
        ("25 ft.-lbs.", "25", "ft_lb"),
        ("25 lb-ft", "25", "ft_lb"),
        ("25 lbf·ft", "25", "ft_lb"),
        ("25 foot-pounds", "25", "ft_lb"),
        ("300 in-lb", "300", "in_lb"),
        ("300 lbf·in", "300", "in_lb"),
        ("30 Nm", "30", "N_m"),
        ("30 N·m", "30", "N_m"),
        ("30 N m", "30", "N_m"),
        ("30 N_m", "30", "N_m"),
        ("30 newton-metres", "30", "N_m"),
        ("60000 miles", "60000", "mi"),
        ("96560 km", "96560", "km"),
        ('1/2"', "0.5", "in"),
        ("12 in.", "12", "in"),
        ("1.5 mm", "1.5", "mm"),
        ("32 PSI", "32", "psi"),
        ("220 kPa", "220", "kPa"),
        ("2.2 bar", "2.2", "bar"),
        ("90°C", "90", "degC"),
        ("90 deg C", "90", "degC"),
        ("194 F", "194", "degF"),
        ("3 lbs", "3", "lb"),
        ("1.5 kg", "1.5", "kg"),
        ("4 each", "4", "each"),
        ("4 pcs", "4", "each"),
    ],
)
def test_a_quantity_as_people_type_it(text: str, number: str, unit: str) -> None:
    parsed, code = parse_quantity(text)
    assert (str(parsed), code) == (number, unit)


def test_a_bare_number_takes_the_unit_of_its_field() -> None:
    assert parse_quantity("0.85", "L") == (D("0.85"), "L")
    assert parse_quantity("¾", "qt") == (D("0.75"), "qt")
    assert parse_quantity("2 qt", "L") == (D(2), "qt")
    with pytest.raises(ValueError, match="needs a unit"):
        parse_quantity("0.85")
    with pytest.raises(ValueError, match=r"^Unit “furlong” is not known"):
        parse_quantity("0.85", "furlong")


@pytest.mark.parametrize("text", ["1,500", "1,500 L", "999,999 mi", "12,000 km"])
def test_a_comma_that_may_group_thousands_is_asked_about(text: str) -> None:
    with pytest.raises(ValueError, match="can be read two ways"):
        parse_quantity(text, "L")


@pytest.mark.parametrize("text", ["3 oz", "3 OZ.", "3 ounces"])
def test_an_ounce_can_be_two_things(text: str) -> None:
    with pytest.raises(ValueError, match="write fl oz for fluid ounces"):
        parse_quantity(text, "L")


@pytest.mark.parametrize(
    "text",
    [
        *("", "  ", "L", "-1 L", "+1 L", "−1 L", "1e3 L", "1E3", "nan", "NaN L", "inf", "Infinity L", "one L"),
        *("5.", ",", "1/0 L", "0/0", "1 1/0 gal", "1 3/2 gal", "1/2/3 L", "1.5/2 L", "1,234.5 L", "1.234,5 L"),
        *("1,234,567 L", "1 500 ml", "1_000 L", "1'500 L", "0x10 L", "٣ L", "5 L L", "5 furlong", "5 L; 6 L"),
        *("½½ L", "5 -L", "9" * 61, "9" * 30, "1/2\n3 L"),
    ],
)
def test_what_is_no_quantity_is_refused_with_a_sentence(text: str) -> None:
    with pytest.raises(ValueError, match=r"^(Quantity|Unit) .*\.$"):
        parse_quantity(text, "L")


@pytest.mark.parametrize("text", [None, 5, D(5), b"5 L"])
def test_a_quantity_is_text(text: Any) -> None:
    with pytest.raises(ValueError, match=r"^Quantity must be text"):
        parse_quantity(text, "L")


@given(st.text(max_size=70))
def test_whatever_is_typed_is_a_quantity_or_a_sentence(text: str) -> None:
    sentence = ""
    try:
        number, unit = parse_quantity(text, "L")
    except ValueError as refusal:
        sentence = str(refusal)
    if sentence:
        assert sentence.startswith(("Quantity", "Unit"))
    else:
        assert number.is_finite()
        assert number >= 0
        assert unit in DIMENSION


@given(st.decimals(min_value=0, max_value=10**6, places=4), st.sampled_from(sorted(DIMENSION)))
def test_what_the_program_prints_can_be_typed_back(value: Decimal, unit: str) -> None:
    assert parse_quantity(f"{value:f} {label(unit)}") == (value, unit)
    assert parse_quantity(f"{value:f} {unit}") == (value, unit)


# Figures on screen


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        ("0.85", "L", "0.850 L · 0.898 qt"),
        ("1", "qt", "1.000 qt · 0.946 L"),
        ("1", "gal", "1.000 gal · 3.785 L"),
        ("850", "mL", "850 mL · 28.7 fl oz"),
        ("13", "ft_lb", "13 ft·lb · 17.6 N·m"),  # common practice, no source
        ("39", "N_m", "39 N·m · 28.8 ft·lb"),
        ("39.000000000", "N_m", "39 N·m · 28.8 ft·lb"),
        ("13.50", "ft_lb", "13.50 ft·lb · 18.3 N·m"),
        ("60000", "mi", "60000 mi · 96561 km"),
        ("36", "psi", "36 psi · 248 kPa"),
        ("90", "degC", "90 °C · 194 °F"),
        ("-40", "degF", "-40 °F · -40 °C"),
        ("0.030", "in", "0.030 in · 0.76 mm"),
        ("2", "kg", "2 kg · 4.41 lb"),
        ("4", "each", "4 ea"),
    ],
)
def test_the_unit_as_written_comes_first(value: str, unit: str, shown: str) -> None:
    assert both(D(value), unit) == shown


def test_the_bay_shows_two_decimals_of_what_is_poured() -> None:
    assert both(D("0.85"), "L", places=2) == "0.85 L · 0.90 qt"
    assert both(D("0.85"), "qt", places=2) == "0.85 qt · 0.80 L"
    assert both(D(13), "ft_lb", places=2) == "13 ft·lb · 17.6 N·m"


def test_units_come_in_pairs() -> None:
    for metric, customary in [("L", "qt"), ("N_m", "ft_lb"), ("km", "mi"), ("mm", "in"), ("kPa", "psi")]:
        assert (other_unit(metric), other_unit(customary)) == (customary, metric)
    assert (other_unit("degC"), other_unit("kg"), other_unit("each")) == ("degF", "lb", None)
    for unit, dimension in DIMENSION.items():
        other = other_unit(unit)
        assert other is None or DIMENSION[other] == dimension


def test_labels_are_typographic() -> None:
    shown = [label(unit) for unit in ("N_m", "ft_lb", "degC", "degF", "L", "qt", "floz", "impgal")]
    assert shown == ["N·m", "ft·lb", "°C", "°F", "L", "qt", "fl oz", "imp gal"]
    assert all(unit_code(label(unit)) == unit for unit in DIMENSION)
    for ask in (label, other_unit):
        with pytest.raises(ValueError, match="is not known"):
            ask("pint")
