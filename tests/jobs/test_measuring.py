"""What is measured in the bay must not mislead: slips of the point, limits, old bottles, bad samples; by its pages."""

import io
import re
import uuid
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from garage.clock import fixed
from garage.errors import Questions, Refused
from jobs.models import Line
from jobs.queries import used_on
from parts.actions.receiving import opening_stock
from parts.models import Container, Item
from tests.jobs.bay_cast import PROCEDURE, SAMPLE, Bay, in_bay, outcome
from tests.jobs.test_bay_pages import step_post

D = Decimal
BAD = {**SAMPLE, "clarity": "milky"}


@pytest.fixture
def bay(shop, people, now) -> Bay:
    return in_bay(people, now)


@pytest.fixture
def level(bay: Bay) -> Bay:
    """The same, with everything before the filling confirmed."""
    bay.do(1)
    bay.do(5)
    return bay


def answer_of(response) -> str:
    found = re.search(r'name="as_it_is"[^>]*value="(\w+)"|value="(\w+)"[^>]*name="as_it_is"', response.content.decode())
    assert found
    return found[1] or found[2]


def fluid_line(bay: Bay) -> Line:
    return bay.operation.lines.get(item=bay.fluid)


def taken(bay: Bay) -> Decimal:
    return used_on(fluid_line(bay)).quantity


def move(client, bay: Bay, quantity: str, name: str = "draw", **more: str):
    url = reverse(f"jobs:bay-{name}", args=[fluid_line(bay).pk])
    return client.post(url, {"key": str(uuid.uuid4()), "quantity": quantity, **more})


def page(client, bay: Bay, number: int) -> str:
    url = reverse("jobs:bay-job", args=[bay.job.pk])
    return client.get(f"{url}?step={bay.step(number).pk}").content.decode()


# Amounts


def test_a_slip_of_the_point_is_asked_about_before_it_empties_the_shelf(level: Bay, login) -> None:
    client = login("technician")
    given: dict[str, Any] = {"reading": "2.0", "reason": "ran out of the hole"}
    asked = step_post(client, level.step(6), **given)
    assert asked.status_code == 422
    text = asked.content.decode()
    assert "2.00 L · 2.11 qt is more than the capacity of 0.95 L (1.00 qt). Is that right?" in text
    assert 'value="2.0"' in text
    assert level.on_hand(level.fluid) == 3
    assert step_post(client, level.step(6), **{**given, "reading": "2.5"}, as_it_is=answer_of(asked)).status_code == 422
    done = step_post(client, level.step(6), **given, as_it_is=answer_of(asked))
    assert done.status_code == 303
    assert level.on_hand(level.fluid) == 1


def test_a_drained_amount_above_capacity_is_asked_about(bay: Bay, login) -> None:
    bay.do(1)
    client = login("technician")
    asked = step_post(client, bay.step(2), reading="8.2")
    assert asked.status_code == 422
    assert "8.20 L · 8.66 qt is more than the capacity of 0.95 L (1.00 qt)" in asked.content.decode()
    assert step_post(client, bay.step(2), reading="8.2", as_it_is=answer_of(asked)).status_code == 303


def test_the_verb_itself_asks_so_that_a_tablet_that_was_away_does_not_fill_in_silence(level: Bay) -> None:
    with pytest.raises(Questions):
        level.do(6, reading="2.0", reason="ran out of the hole")
    assert level.on_hand(level.fluid) == 3


def test_taking_far_more_than_is_planned_is_asked_about_and_returning_all_but_a_little_too(bay: Bay, login) -> None:
    client = login("technician")
    asked = move(client, bay, "2.5")
    assert asked.status_code == 422
    assert "2.50 L · 2.64 qt of Transfer case fluid is taken; 0.85 L · 0.90 qt is planned" in asked.content.decode()
    assert move(client, bay, "2.5", as_it_is=answer_of(asked)).status_code == 303
    back = move(client, bay, "2.4", "return")
    assert back.status_code == 422
    assert "only 0.10 L · 0.11 qt of Transfer case fluid stays taken" in back.content.decode()
    assert taken(bay) == D("2.5")
    assert move(client, bay, "2.4", "return", as_it_is=answer_of(back)).status_code == 303
    assert taken(bay) == D("0.1")


def test_the_pan_must_hold_the_most_that_can_come(bay: Bay, login) -> None:
    bay.do(1)
    shown = page(login("technician"), bay, 2)
    assert "The pan must hold 0.95 L · 1.00 qt." in shown


# Limits and torque


def test_no_limit_stands_beside_a_figure_of_another_unit(level: Bay, login) -> None:
    client = login("technician")
    shown = page(client, level, 4)
    assert "<b>13 ft·lb</b><small>17.6 N·m</small><small>OK: 12–14 ft·lb (16.3–19.0 N·m)</small>" in shown
    level.do(7, reading="16", reason="clicked twice")
    done = page(client, level, 7)
    assert "above the limit of 14 ft·lb (19.0 N·m): clicked twice" in done
    written = client.get(reverse("jobs:procedure", args=[level.revision.procedure_id])).content.decode()
    assert "OK: 0.60–1.00 L (0.63–1.06 qt)" in written


def test_a_torque_without_limits_far_from_its_target_needs_a_reason(shop, people, now, login) -> None:
    bay = in_bay(people, now, PROCEDURE.replace("target: 13, from: 12, to: 14, outside: reason", "target: 13"))
    bay.do(1)
    bay.do(5)
    client = login("technician")
    far = step_post(client, bay.step(7), reading="130")
    assert far.status_code == 422
    assert "130 ft·lb · 176.3 N·m is more than 20% above the 13 ft·lb (17.6 N·m) to reach" in far.content.decode()
    step_post(client, bay.step(7), reading="130", reason="wrench was set wrong")
    assert bay.operation.steps.filter(follows=bay.step(7)).exists(), "a check is added to the job"


def test_a_tighten_step_by_hand_says_how(shop, people, now, login) -> None:
    by_hand = PROCEDURE.replace(
        "reading: {name: torque, unit: ft lb, target: 13, from: 12, to: 14, outside: refuse}",
        "how: by hand, contact and 3/4 turn",
    )
    bay = in_bay(people, now, by_hand)
    bay.do(1)
    client = login("technician")
    assert "by hand, contact and 3/4 turn" in page(client, bay, 4)
    assert (
        "by hand, contact and 3/4 turn"
        in client.get(reverse("jobs:procedure", args=[bay.revision.procedure_id])).content.decode()
    )


# Once from the shelf


def test_what_was_taken_by_hand_is_what_the_filling_pours(level: Bay, login) -> None:
    client = login("technician")
    move(client, level, "1.0")
    step_post(client, level.step(6), reading="0.85")
    assert taken(level) == 1
    finish = client.get(reverse("jobs:bay-finish", args=[level.job.pk])).content.decode()
    assert "0.15 L · 0.16 qt of Transfer case fluid was taken and not filled." in finish
    move(client, level, "0.15", "return")
    assert taken(level) == D("0.85")
    assert "not filled" not in client.get(reverse("jobs:bay-finish", args=[level.job.pk])).content.decode()


def test_what_is_poured_beyond_what_was_taken_by_hand_is_taken_too(level: Bay, login) -> None:
    client = login("technician")
    move(client, level, "0.5")
    step_post(client, level.step(6), reading="0.85")
    assert taken(level) == D("0.85")
    step_post(client, level.step(6), "untick", reason="wrong bottle")
    assert taken(level) == D("0.5"), "what was taken by hand stays taken"


def test_the_sentence_about_what_lacked_goes_when_it_is_put_right(shop, people, now, login) -> None:
    text = PROCEDURE.replace("to: 1, outside", "to: 3, outside").replace("0.95 L", "3 L")
    bay = in_bay(people, now, text, bottles=1)
    bay.do(1)
    bay.do(5)
    bay.do(6, reading="1.5")
    client, url = login("technician"), reverse("jobs:bay-job", args=[bay.job.pk])
    assert "the shelf lacked 0.500 L" in client.get(url).content.decode()
    more(bay)
    move(client, bay, "0.2")
    assert "the shelf lacked 0.300 L" in client.get(url).content.decode()
    move(client, bay, "0.3")
    assert bay.step(6).shortage == ""
    assert taken(bay) == D("1.5")


def more(bay: Bay) -> None:
    """One more sealed bottle on the shelf."""
    opening_stock(
        key=uuid.uuid4(),
        item=bay.fluid,
        pack=bay.fluid.packs.get(),
        packs=1,
        unit_cost=D(36),
        actor=bay.technician,
        clock=fixed(bay.now),
    )


def test_the_shelf_is_asked_in_the_unit_of_the_line(shop, people, now, login) -> None:
    bay = in_bay(people, now, PROCEDURE.replace("quantity: 0.85 L", "quantity: 0.90 qt"))
    client = login("technician")
    move(client, bay, "0.5")
    form = client.get(reverse("jobs:bay-return", args=[fluid_line(bay).pk])).content.decode()
    assert "How much, qt" in form
    assert "0.90 qt · 0.85 L" in form
    assert "0.50 qt · 0.47 L" in form
    assert taken(bay) == D("0.473176473")  # 0.5 x 0.946352946 L, NIST Handbook 44, Appendix C


# Open too long


@pytest.fixture
def stale(level: Bay) -> Bay:
    """A bottle that has stood open for longer than it keeps, beside two sealed ones."""
    Item.objects.filter(pk=level.fluid.pk).update(open_days=365)
    first = Container.objects.filter(item=level.fluid).order_by("pk").first()
    assert first
    Container.objects.filter(pk=first.pk).update(opened_at=level.now - timedelta(days=400))
    return level


def opened(bay: Bay) -> list[Decimal]:
    return list(Container.objects.filter(item=bay.fluid).order_by("pk").values_list("content", flat=True))


def test_a_bottle_open_too_long_is_asked_about_when_a_step_fills(stale: Bay, login, monkeypatch) -> None:
    monkeypatch.setattr("jobs.views.steps.timezone.now", lambda: stale.now)
    client = login("technician")
    asked = step_post(client, stale.step(6), reading="0.85")
    assert asked.status_code == 422
    text = asked.content.decode()
    assert "400 days ago, and keeps 365 days. Take it all the same?" in text
    assert "Open a new one" in text
    assert opened(stale) == [1, 1, 1]
    step_post(client, stale.step(6), reading="0.85", as_it_is="instead")
    assert opened(stale) == [1, D("0.15"), 1]


def test_it_may_be_taken_all_the_same(stale: Bay, login, monkeypatch) -> None:
    monkeypatch.setattr("jobs.views.bay.timezone.now", lambda: stale.now)
    client = login("technician")
    asked = move(client, stale, "0.85")
    assert asked.status_code == 422
    move(client, stale, "0.85", as_it_is=answer_of(asked))
    assert opened(stale) == [D("0.15"), 1, 1]


def test_the_other_way_stays_chosen_while_something_else_is_asked(stale: Bay) -> None:
    with pytest.raises(Questions) as first:
        stale.do(6, reading="2.0", reason="ran over")
    assert len(first.value.questions) == 2
    with pytest.raises(Questions) as second:
        stale.do(6, reading="2.0", reason="ran over", as_it_is="instead")
    assert len(second.value.questions) == 1
    assert opened(stale) == [1, 1, 1]


# Samples


def test_a_bad_sample_stops_the_work_until_somebody_has_said_what_is_to_be_done(bay: Bay, login) -> None:
    client, url = login("technician"), reverse("jobs:bay-job", args=[bay.job.pk])
    bay.do(1)
    bay.do(2, reading="0.82")
    stopped = step_post(client, bay.step(3), htmx=True, **BAD).content.decode()
    assert bay.step(3).state == "done", "the tick is kept"
    assert "Water or coolant is in the fluid." in stopped
    assert "Find where it comes in and have it repaired at once" in stopped
    assert "Who was told" in stopped
    refused = step_post(client, bay.step(4), reading="13")
    assert refused.status_code == 422
    assert "Step 3, “Look at the drained fluid”, stopped the work" in refused.content.decode()
    with pytest.raises(Refused, match="stopped the work"):
        bay.do(4, "skip", reason="no time")
    assert "Nothing is done after it" in login("counter").get(reverse("jobs:sheet", args=[bay.job.pk])).content.decode()
    answer = reverse("jobs:sample-answer", args=[bay.step(3).pk])
    named = {"sample": bay.step(3).sample.pk, "told": "Odile Marrant"}
    empty = client.post(answer, {**named, "told_words": ""})
    assert empty.status_code == 422
    assert "Write what they said." in empty.content.decode()
    assert 'value="Odile Marrant"' in empty.content.decode()
    client.post(answer, {**named, "told_words": "Fill it, the radiator is replaced next week."})
    assert step_post(client, bay.step(4), reading="13").status_code == 303
    said = "Odile Marrant was told by Technician Test and said: “Fill it, the radiator is replaced next week.”"
    assert said in client.get(url).content.decode()
    assert said in login("counter").get(reverse("jobs:sheet", args=[bay.job.pk])).content.decode()


def test_a_job_is_not_finished_while_a_bad_sample_is_unanswered(bay: Bay, login) -> None:
    bay.do_all()
    bay.do(3, "untick", reason="look again")
    bay.do(3, **BAD)
    finish = login("technician").get(reverse("jobs:bay-finish", args=[bay.job.pk])).content.decode()
    assert "stopped the work" in finish


def test_an_ordinary_sample_stops_nothing(bay: Bay) -> None:
    bay.do(1)
    bay.do(3, **SAMPLE)
    bay.do(4, reading="13")
    assert bay.step(4).state == "done"


@pytest.mark.parametrize("other", [{"clarity": "cloudy"}, {"color": "amber"}, {"notes": "smells of fuel"}])
def test_another_technicians_other_sample_is_a_conflict(bay: Bay, other: dict[str, Any]) -> None:
    bay.do(1)
    bay.do(3, base=0, **SAMPLE)
    event = bay.do(3, base=0, **{**SAMPLE, **other})
    assert outcome(event) == "conflict"
    assert "brown, clear, particles: fine gray paste, smell: as usual" in event.result["sentence"]
    assert outcome(bay.do(3, base=0, **SAMPLE)) == "same"


def test_a_note_makes_no_other_tablets_tick_fail(bay: Bay, login) -> None:
    stale = bay.step(1)
    bay.do(1, "note", text="Plug was tight")
    client = login("technician")
    step_post(client, stale)
    assert bay.step(1).state == "done"
    assert "Plug was tight" in page(client, bay, 1)


# Photos


def test_a_photo_step_is_not_done_without_a_photo(shop, people, now, login) -> None:
    text = PROCEDURE.partition("steps:")[0] + "steps:\n  - {kind: photo, title: Photo of the plug}\n"
    bay = in_bay(people, now, text)
    client = login("technician")
    shown = page(client, bay, 1)
    assert f'href="{reverse("jobs:step-photo", args=[bay.step(1).pk])}">Take photo' in shown
    refused = step_post(client, bay.step(1))
    assert refused.status_code == 422
    assert "Take the photo first, or write why it cannot be taken." in refused.content.decode()
    image = io.BytesIO()
    Image.new("RGB", (40, 30), "brown").save(image, "JPEG")
    upload = SimpleUploadedFile("plug.jpg", image.getvalue(), "image/jpeg")
    client.post(reverse("jobs:step-photo", args=[bay.step(1).pk]), {"key": str(uuid.uuid4()), "photo": upload})
    assert step_post(client, bay.step(1)).status_code == 303


def test_a_photo_step_may_be_skipped_with_a_reason(shop, people, now) -> None:
    text = PROCEDURE.partition("steps:")[0] + "steps:\n  - {kind: photo, title: Photo of the plug}\n"
    bay = in_bay(people, now, text)
    bay.do(1, "skip", reason="no camera")
    assert bay.step(1).state == "skipped"
