"""Drawing more for a line, and bringing back what was not used."""

import uuid
from decimal import Decimal

import pytest

from garage.clock import fixed
from garage.errors import Refused
from jobs.actions.draws import draw_for_line, return_from_line
from jobs.models import Line
from jobs.queries import used_on
from parts.models import Container
from tests.decided import decide
from tests.jobs.bay_cast import Bay, in_bay

D = Decimal


@pytest.fixture
def bay(shop, people, now) -> Bay:
    return in_bay(people, now)


def draw(bay: Bay, quantity: str, *, key: uuid.UUID | None = None) -> Line:
    line = bay.operation.lines.get(item=bay.fluid)
    return draw_for_line(
        key=key or uuid.uuid4(), line=line, quantity=D(quantity), actor=bay.technician, clock=fixed(bay.now)
    )


def bring_back(bay: Bay, quantity: str, *, key: uuid.UUID | None = None) -> Line:
    line = bay.operation.lines.get(item=bay.fluid)
    return return_from_line(
        key=key or uuid.uuid4(), line=line, quantity=D(quantity), actor=bay.technician, clock=fixed(bay.now)
    )


def test_a_double_tap_draws_once(bay: Bay) -> None:
    key = uuid.uuid4()
    draw(bay, "0.2", key=key)
    line = draw(bay, "0.2", key=key)
    assert used_on(line).quantity == D("0.2")
    assert bay.on_hand(bay.fluid) == D("2.8")


def test_more_than_the_shelf_has_is_refused_with_what_is_there(bay: Bay) -> None:
    with pytest.raises(Refused, match=r"3\.000 L"):
        draw(bay, "3.1")
    assert bay.on_hand(bay.fluid) == 3


def test_unused_fluid_goes_back_to_the_open_container(bay: Bay) -> None:
    draw(bay, "0.9")
    line = bring_back(bay, "0.15")
    assert used_on(line).quantity == D("0.75")
    assert Container.objects.get(item=bay.fluid, opened_at__isnull=False).content == D("0.25")


def test_a_whole_draw_that_comes_back_seals_its_container_again(bay: Bay) -> None:
    draw(bay, "0.9")
    line = bring_back(bay, "0.9")
    assert used_on(line).quantity == 0
    assert not Container.objects.filter(item=bay.fluid, opened_at__isnull=False).exists()


def test_no_more_comes_back_than_was_drawn(bay: Bay) -> None:
    draw(bay, "0.9")
    bring_back(bay, "0.2")
    with pytest.raises(Refused, match=r"0\.700 L · 0\.740 qt was taken"):
        bring_back(bay, "0.8")


def test_unticking_after_a_part_came_back_brings_only_the_rest(bay: Bay) -> None:
    bay.do(1)
    bay.do(5)
    bay.do(6, reading="0.85")
    bring_back(bay, "0.05")
    bay.do(6, "untick", reason="wrong bottle")
    assert bay.on_hand(bay.fluid) == 3
    assert used_on(bay.operation.lines.get(item=bay.fluid)).quantity == 0


def test_nothing_is_drawn_for_work_that_was_not_authorized(bay: Bay) -> None:
    decide(operation=bay.operation, decision="withdrawn", actor=bay.technician, now=bay.now)
    with pytest.raises(Refused, match="not authorized"):
        draw(bay, "0.1")


def test_nothing_is_drawn_for_a_job_that_is_not_in_the_bay(bay: Bay) -> None:
    bay.job.stage = "ready"
    bay.job.save()
    with pytest.raises(Refused, match="nothing moves"):
        draw(bay, "0.1")
