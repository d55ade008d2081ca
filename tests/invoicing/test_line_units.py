"""One unit a line: what was typed comes first in quantity, price and limit alike, the other stands beside it."""

import re
from decimal import Decimal

import pytest
from django.urls import reverse

from invoicing import papers
from jobs.models import Line
from tests.invoicing.cast import Garage
from tests.invoicing.test_overdue import Login, words
from tests.invoicing.test_signing import read

D = Decimal
# 1 US qt is 0.946352946 L (NIST Handbook 44): 1.900 qt are 1.798 L, 20.46 a quart is 21.62 a liter.
QUARTS = {"quantity": D("1.9"), "unit": "qt", "typed": "1.9 qt", "unit_price": D("20.46")}
LITERS = {"quantity": D("1.7"), "unit": "L", "typed": "1.7 L", "unit_price": D("61.20")}
SHOWN = {
    "qt": (QUARTS, r"1\.900 qt ?1\.798 L\W+20\.46 / qt ?21\.62 / L\W+38\.87"),
    "L": (LITERS, r"1\.700 L ?1\.796 qt\W+61\.20 / L ?57\.92 / qt\W+104\.04"),
}


@pytest.mark.parametrize("unit", SHOWN)
def test_papers_and_sheet_say_quantity_and_price_in_the_unit_that_was_typed(
    garage: Garage, login: Login, unit: str
) -> None:
    typed, shown = SHOWN[unit]
    job = garage.job([{**garage.poured(garage.fluid(), "1"), **typed}])
    estimate = garage.estimate(job)
    sheet = words(login("counter").get(reverse("jobs:sheet", args=[job.pk])).content.decode())
    page = words(login("counter").get(reverse("invoicing:estimate", args=[estimate.pk])).content.decode())
    paper = " ".join(read(papers.estimate_paper(estimate.pk)))
    for said in (sheet, page, paper):
        assert re.search(shown, said), said


def test_a_limit_stands_in_the_unit_of_its_line(garage: Garage, login: Login) -> None:
    job = garage.job([{**garage.poured(garage.fluid(), "1"), **QUARTS, "if_needed": True}])
    estimate = garage.estimate(job)
    for said in (
        " ".join(read(papers.estimate_paper(estimate.pk))),
        words(login("counter").get(reverse("jobs:sheet", args=[job.pk])).content.decode()),
    ):
        assert "if needed, up to 1.900 qt, $38.87" in said or "if needed, up to 1.900 qt, 38.87" in said


def test_what_stands_open_and_what_was_used_are_said_in_the_unit_of_the_line(garage: Garage, login: Login) -> None:
    fluid = garage.fluid()
    first = garage.job([garage.poured(fluid, "0.5")])
    garage.authorize(garage.estimate(first))
    garage.into_bay(first)
    garage.draw(Line.objects.get(operation__job=first), "0.5")
    second = garage.job([{**garage.poured(fluid, "1"), **QUARTS}])
    sheet = words(login("counter").get(reverse("jobs:sheet", args=[second.pk])).content.decode())
    assert "0.528 qt open" in sheet  # 0.5 L of a 1 L bottle are left
    garage.authorize(garage.estimate(second))
    garage.into_bay(second)
    garage.draw(Line.objects.get(operation__job=second), "0.946352946")
    assert "1.000 qt used" in words(login("counter").get(reverse("jobs:sheet", args=[second.pk])).content.decode())
