"""Slips in the bay through its pages: a wrong point, an answer that came too late, a look taken before."""

import html
import re
import uuid
from typing import Any

import pytest
from django.urls import reverse

from garage.clock import fixed
from garage.models import ShopProfile
from jobs.actions.stages import move
from jobs.models import Stage
from tests.jobs.bay_cast import PROCEDURE, SAMPLE, Bay, in_bay
from tests.jobs.test_bay_pages import step_post

LOGIN: dict[str, Any] = {"username": "owner", "password": "correct-horse"}
MILKY = {**SAMPLE, "clarity": "milky"}
FLAKES = {**SAMPLE, "particles": "flakes", "smell": "burnt"}


@pytest.fixture
def bay(shop, people, now) -> Bay:
    return in_bay(people, now)


def said_yes(text: str) -> str:
    """The answer that the page's “save anyway” sends."""
    found = re.search(r'name="as_it_is" value="([^"]+)"', text)
    assert found is not None
    return found[1]


def test_a_second_persons_amount_is_asked_about_before_it_empties_the_shelf(shop, people, now, login) -> None:
    bay = in_bay(people, now, PROCEDURE.replace("to: 1, outside: reason", "to: 1, outside: refuse"), bottles=9)
    bay.do(1)
    bay.do(5)
    client = login("technician")
    given = {"reading": "8.5", "reason": "seen by both", **LOGIN}
    asked = step_post(client, bay.step(6), "confirm", **given)
    text = asked.content.decode()
    assert asked.status_code == 422 and "8.50 L · 8.98 qt is more than the capacity of 0.95 L" in text
    assert 'value="8.5"' in text and "seen by both" in text and "correct-horse" not in text
    assert bay.step(6).state == "open" and bay.on_hand(bay.fluid) == 9
    assert step_post(client, bay.step(6), "confirm", **given, as_it_is=said_yes(text)).status_code == 303
    assert bay.step(6).state == "done"


def test_what_is_poured_at_any_kind_of_step_is_asked_about(shop, people, now, login) -> None:
    topped_up = PROCEDURE.replace("kind: fill\n    title: Fill to the edge", "kind: do\n    title: Top up to the edge")
    bay = in_bay(people, now, topped_up, bottles=9)
    bay.do(1)
    bay.do(5)
    asked = step_post(login("technician"), bay.step(6), reading="8.5", reason="ran out of the hole")
    assert asked.status_code == 422
    assert "8.50 L · 8.98 qt is more than the capacity of 0.95 L" in asked.content.decode()
    assert bay.on_hand(bay.fluid) == 9


def test_an_answer_to_a_sample_that_was_taken_again_opens_nothing(bay: Bay, login) -> None:
    client = login("technician")
    bay.do(1)
    bay.do(3, **MILKY)
    answer = reverse("jobs:sample-answer", args=[bay.step(3).pk])
    stale = {"sample": bay.step(3).sample.pk, "told": "Odile Marrant", "told_words": "Fill it, the radiator is next."}
    bay.do(3, "untick", reason="dirty jar")
    reopened = client.post(answer, stale)
    assert reopened.status_code == 422 and "The step was reopened meanwhile" in reopened.content.decode()
    bay.do(3, **FLAKES)
    refused = client.post(answer, stale)
    text = refused.content.decode()
    assert refused.status_code == 422 and "looked at again meanwhile" in text
    assert "Fill it, the radiator is next." in text
    assert bay.step(3).sample.waits
    assert client.post(answer, stale | {"sample": bay.step(3).sample.pk}).status_code == 303
    assert not bay.step(3).sample.waits
    twice = client.post(answer, stale | {"sample": bay.step(3).sample.pk})
    assert twice.status_code == 422 and "It was answered already" in twice.content.decode()


def test_what_was_filled_in_does_not_all_go_back_unasked(bay: Bay, login) -> None:
    client = login("technician")
    bay.do(1)
    bay.do(5)
    bay.do(6, reading="0.85")
    line = bay.operation.lines.get(item=bay.fluid)
    url, given = reverse("jobs:bay-return", args=[line.pk]), {"key": str(uuid.uuid4()), "quantity": "0.85"}
    asked = client.post(url, given)
    text = asked.content.decode()
    assert asked.status_code == 422 and "only 0.00 L · 0.00 qt of" in text and "0.85 L · 0.90 qt was filled in" in text
    assert str(bay.on_hand(bay.fluid)).startswith("2.15")
    assert client.post(url, given | {"as_it_is": said_yes(text)}).status_code == 303
    assert bay.on_hand(bay.fluid) == 3


def test_a_look_taken_alone_does_not_hold_once_the_shop_asks_for_another_persons(bay: Bay, login) -> None:
    client = login("technician")
    bay.do_all()
    url = reverse("jobs:bay-finish", args=[bay.job.pk])
    lower = client.post(url, {"look": "on", "reading": "88400", "unit": "mi"})
    assert lower.status_code == 422 and bay.job.final_looks.count() == 1
    ShopProfile.objects.update(second_look=True)
    refused = client.post(url, {"look": "on", "reading": "88415", "unit": "mi"})
    assert refused.status_code == 422 and "Another person takes the final look here" in refused.content.decode()
    bay.job.refresh_from_db()
    assert bay.job.stage == "in_bay"
    assert login("counter").post(url, {"look": "on", "reading": "88415", "unit": "mi"}).status_code == 303


def test_a_look_that_was_refused_is_to_be_taken_anew(bay: Bay, login) -> None:
    """It was taken before the last step was done: its tick does not stay for the next press."""
    client = login("technician")
    bay.do_all()
    bay.do(7, "untick", reason="it weeps")
    url, given = reverse("jobs:bay-finish", args=[bay.job.pk]), {"look": "on", "reading": "88415", "unit": "mi"}
    refused = client.post(url, given)
    box = re.search(r'<input type="checkbox" name="look"[^>]*>', refused.content.decode())
    assert refused.status_code == 422 and box and "checked" not in box[0]
    assert 'value="88415"' in refused.content.decode()
    bay.do(7, reading="13")
    wrong = client.post(url, given | {"reading": "a lot"})
    kept = re.search(r'<input type="checkbox" name="look"[^>]*>', wrong.content.decode())
    assert kept and "checked" in kept[0], "one that was not refused stays"
    assert client.post(url, given).status_code == 303


def test_another_odometer_than_the_job_was_finished_with_is_refused_beside_its_field(bay: Bay, login) -> None:
    """Two tablets finish one job: what the second one typed is not lost without a word."""
    client, other = login("technician"), login("owner")
    bay.do_all()
    url, given = reverse("jobs:bay-finish", args=[bay.job.pk]), {"look": "on", "unit": "mi"}
    assert client.post(url, given | {"reading": "88415"}).status_code == 303
    for reading, unit in (("88451", "mi"), ("88411", "mi"), ("88415", "km")):
        late = other.post(url, given | {"reading": reading, "unit": unit})
        text = html.unescape(late.content.decode())
        if "Save anyway" in text:
            late = other.post(url, given | {"reading": reading, "unit": unit, "as_it_is": said_yes(text)})
            text = html.unescape(late.content.decode())
        assert late.status_code == 422 and f'value="{reading}"' in text
        error = re.search(r'id="id_reading_error"[^>]*>(.*?)</', text, re.DOTALL)
        assert error and "was finished meanwhile with 88,415 mi; this changes nothing" in error[1]
    assert other.post(url, given | {"reading": "88,415"}).status_code == 303
    assert [reading.reading for reading in bay.vehicle.readings.order_by("pk")] == [88410, 88415]


def test_a_late_act_on_a_step_that_is_done_says_what_is_wrong_with_it(bay: Bay, login) -> None:
    client = login("technician")
    bay.do(1)
    seen = bay.step(2)
    bay.do(2, reading="0.82")
    late = step_post(client, seen, reading="a cup", htmx=True)
    assert late.status_code == 422 and "“a cup” is not understood" in late.content.decode()


def test_a_late_act_that_wants_what_is_so_already_is_answered_for_who_listens(bay: Bay, login) -> None:
    """Another tab, or another tablet: the step is shown as it is, and the status says so too."""
    client = login("technician")
    seen = bay.step(1)
    bay.do(1)
    late = step_post(client, seen, htmx=True)
    assert late.status_code == 200
    assert '<div id="spoken" hx-swap-oob="innerHTML">Step 1 done.</div>' in late.content.decode()
    assert bay.step(1).version == 1


def test_a_tick_from_before_the_work_ended_as_not_done_says_so(bay: Bay, login) -> None:
    client = login("technician")
    bay.do(1)
    seen = bay.step(2)
    assert step_post(client, seen, "cannot", reason="plug is round").status_code == 303
    client.post(reverse("jobs:bay-reopen", args=[bay.operation.pk]), {"reason": "new plug"})
    late = step_post(client, seen, reading="0.82", htmx=True).content.decode()
    assert "“Transfer case fluid, change” ended as not done meanwhile, and was reopened." in late
    assert bay.step(2).state == "open"


def test_a_step_can_be_reopened_while_the_customer_is_asked_about_more(bay: Bay, login) -> None:
    """It can be ticked then, so a slip of the hand can be taken back; and what is missing is said beside its field."""
    client = login("technician")
    bay.do(1)
    bay.do(2, reading="0.82")
    move(bay.job, Stage.AWAITING, waits_for="Odile Marrant", actor=bay.technician, clock=fixed(bay.now))
    page = client.get(reverse("jobs:bay-job", args=[bay.job.pk]), {"step": bay.step(2).pk}).content.decode()
    assert "Reopen step" in page
    bare = step_post(client, bay.step(2), "untick", htmx=True)
    assert bare.status_code == 422 and "Write why it is reopened." in bare.content.decode()
    assert step_post(client, bay.step(2), "untick", reason="read the wrong cup").status_code == 303
    assert bay.step(2).state == "open"


@pytest.mark.parametrize(
    ("figures", "expected"),
    [
        ("target: 85, from: 60, to: 100", "steps[6].reading.target: 85 L is more than the capacity of 0.95 L."),
        ("target: -0.85", "steps[6].reading.target: -0.85 is no volume that can be read."),
        ("target: 0", "steps[6].reading.target: 0 is no volume that can be read."),
        ("target: 0.85, from: -1", "steps[6].reading.from: -1 is no volume that can be read."),
    ],
)
def test_a_file_with_a_slip_in_a_filling_is_refused_by_its_line(login, shop, figures: str, expected: str) -> None:
    text = PROCEDURE.replace("target: 0.85, from: 0.6, to: 1", figures)
    answer = login("owner").post(reverse("jobs:procedure-file"), {"text": text, "publish": "yes"})
    assert answer.status_code == 422
    assert re.search(r"line \d+, " + re.escape(expected), html.unescape(re.sub("<[^>]+>", "", answer.content.decode())))
