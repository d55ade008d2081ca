"""The work order: a job as a sheet to print, with a box for every step and a blank for every reading."""

import re

import pytest
from django.urls import reverse

from jobs.actions.writing_up import add_operation
from tests.decided import decide
from tests.jobs.bay_cast import Bay, in_bay
from tests.jobs.test_bay_pages import MONEY, step_post


@pytest.fixture
def bay(shop, people, now) -> Bay:
    return in_bay(people, now)


def paper(client, bay: Bay) -> str:
    """The sheet's words, with its blanks as underscores and its boxes as brackets."""
    answer = client.get(reverse("jobs:work-order", args=[bay.job.pk]))
    assert answer.status_code == 200
    text = answer.content.decode()
    text = text[text.find("<main") :]
    text = re.sub(r'<span class="paper-box is-done"[^>]*>', "[x]", text)
    text = re.sub(r'<span class="paper-box"[^>]*>', "[ ]", text).replace('<span class="blank">', "____ ")
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def test_the_work_order_says_what_is_to_be_done_and_has_room_for_what_was_read(bay: Bay, login) -> None:
    words = paper(login("technician"), bay)
    for said in ("Work order 1", "KET-118", "Concern", "Must check first", "Final look", "Findings and notes"):
        assert said in words, said
    for caution in bay.revision.cautions.splitlines():
        assert caution in words
    steps = list(bay.operation.steps.all())
    assert words.count("[ ]") == len(steps) + bay.operation.lines.filter(item__isnull=False).count() + 1
    assert "[ ] 4 Tighten the drain plug" in words
    assert "13 ft·lb 17.6 N·m" in words
    assert re.search(r"____ ft·lb torque", words), "a blank in the unit of the step"
    assert re.search(r"0\.85 L · 0\.90 qt ____ taken", words), "how much is taken from the shelf, in both units"
    assert not MONEY.search(words)


def test_what_is_done_already_stands_on_it_with_what_was_read(bay: Bay, login) -> None:
    client = login("technician")
    step_post(client, bay.step(1))
    step_post(client, bay.step(2), reading="0.8")
    words = paper(client, bay)
    assert "[x] 1 Fill plug opens freely" in words
    assert re.search(r"\[x\] 2 Drain the fluid.*0\.80 L · 0\.85 qt Technician Test \[ \] 3", words)


def test_what_is_not_authorized_says_so_and_what_was_declined_is_left_out(bay: Bay, people, login, now) -> None:
    asked, declined = (
        add_operation(job=bay.job, title=title, actor=people["owner"], clock=lambda: now)
        for title in ("Wiper blades, front", "Cabin filter")
    )
    decide(operation=declined, decision="declined", actor=people["owner"], now=now)
    words = paper(login("technician"), bay)
    assert re.search(rf"{asked.title}\s+Do not begin", words)
    assert declined.title not in words


def test_the_sheet_and_the_bay_lead_to_it(bay: Bay, login) -> None:
    address = reverse("jobs:work-order", args=[bay.job.pk])
    for role, page in (("counter", "jobs:sheet"), ("technician", "jobs:bay-job")):
        assert f'href="{address}"' in login(role).get(reverse(page, args=[bay.job.pk])).content.decode()
