"""Which procedure fits a vehicle best."""

from dataclasses import dataclass

from hypothesis import given
from hypothesis import strategies as st

from jobs.matching import best_match, score
from jobs.procedure_schema import Vehicles


@dataclass
class Car:
    make: str = "Brannock"
    model: str = "Fell 2.4"
    year: int | None = 2016
    engine: str = "2.4 l diesel, 110 kW"
    drivetrain: str = "4x4, 6-speed automatic"


def test_an_empty_row_fits_any_vehicle() -> None:
    assert score(Vehicles(), Car()) == 0
    assert best_match([], Car()) == 0


def test_the_row_that_names_more_fits_better() -> None:
    rows = [Vehicles(make="Brannock"), Vehicles(make="brannock", model="Fell"), Vehicles(engine="diesel")]
    scores = [score(row, Car()) or 0 for row in rows]
    assert scores[0] < scores[1] < scores[2]
    assert best_match(rows, Car()) == scores[2]


def test_a_row_that_contradicts_the_vehicle_does_not_fit() -> None:
    assert score(Vehicles(make="Brannock", model="Tarn"), Car()) is None
    assert best_match([Vehicles(make="Corrie")], Car()) is None


def test_years_are_inclusive_and_an_unknown_year_fits_no_years() -> None:
    assert score(Vehicles(year_from=2016, year_to=2016), Car()) is not None
    assert score(Vehicles(year_from=2017), Car()) is None
    assert score(Vehicles(year_to=2015), Car()) is None
    assert score(Vehicles(year_from=2000), Car(year=None)) is None


def test_words_fit_whole_not_in_part() -> None:
    assert score(Vehicles(model="Fell 2"), Car()) is None


@given(st.sampled_from(["", "Brannock", "Corrie"]), st.sampled_from(["", "Fell", "Tarn"]), st.sampled_from(["", "2.4"]))
def test_naming_less_never_stops_a_row_from_fitting(make: str, model: str, engine: str) -> None:
    whole = score(Vehicles(make=make, model=model, engine=engine), Car())
    less = score(Vehicles(make=make, model=model), Car())
    assert whole is None or (less is not None and less <= whole)
