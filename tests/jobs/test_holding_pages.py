"""Pages: a step that must be done first, cannot be done, or is confirmed by two; the final look; the sheet."""

import re
import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from axes.models import AccessAttempt
from axes.utils import reset
from django.urls import reverse

from garage.models import AuditEntry, ShopProfile, User
from jobs.models import CarTaken, NotDone, StepEvent
from tests.jobs.bay_cast import SAMPLE, Bay, in_bay
from tests.jobs.test_bay_pages import sheet, step_post

WORD = {"who": "Odile Marrant", "how": "phone", "said_at": "2026-03-01T09:00", "words": "I know, I take it home."}
LOGIN: dict[str, Any] = {"username": "owner", "password": "correct-horse"}


@pytest.fixture
def bay(shop, people, now) -> Bay:
    return in_bay(people, now)


@pytest.fixture(autouse=True)
def _no_failures_left(db: None) -> Iterator[None]:
    yield
    reset()


def bay_page(client: Any, bay: Bay, number: int = 0) -> str:
    chosen = f"?step={bay.step(number).pk}" if number else ""
    return sheet(client.get(reverse("jobs:bay-job", args=[bay.job.pk]) + chosen))


# Stray acts


def test_a_hold_point_is_not_confirmed_by_one_tap(bay: Bay, login) -> None:
    client = login("technician")
    asked = step_post(client, bay.step(1), sure="")
    assert asked.status_code == 422
    text = asked.content.decode()
    assert "Was “Fill plug opens freely” really checked? Confirm it with the second button." in text
    assert '<details class="fold second" open>' in text
    assert bay.step(1).state == "open"
    assert step_post(client, bay.step(1)).status_code == 303
    assert bay.step(1).state == "done"


def test_an_act_that_was_shown_with_another_step_changes_nothing_and_keeps_what_was_typed(bay: Bay, login) -> None:
    client = login("technician")
    bay.do(1)
    stray = step_post(client, bay.step(2), shown=bay.step(1).pk, reading="0.82")
    text = stray.content.decode()
    assert stray.status_code == 422 and "meant for another step, not for “Drain the fluid”" in text
    assert 'value="0.82"' in text and bay.step(2).state == "open"
    fields = dict(re.findall(r'name="(event|shown|base_version)" value="([^"]*)"', text))
    again = client.post(reverse("jobs:bay-step", args=[bay.step(2).pk, "tick"]), {**fields, "reading": "0.82"})
    assert again.status_code == 303 and bay.step(2).state == "done"


def test_what_the_program_does_by_itself_has_no_address(bay: Bay, login) -> None:
    assert step_post(login("technician"), bay.step(1), "close").status_code == 404


# The ways of a step


def test_a_guarded_step_offers_its_ways_and_an_ordinary_one_is_skipped(bay: Bay, login) -> None:
    client = login("technician")
    guarded = bay_page(client, bay, 1)
    assert "Skip step" not in guarded and "Second person" in guarded and "Can’t do this" in guarded
    bay.do(1)
    ordinary = bay_page(client, bay, 3)
    assert "Skip step" in ordinary and "Second person" not in ordinary and "Can’t do this" in ordinary


def test_a_second_person_logs_in_for_one_step_alone(bay: Bay, people, login) -> None:
    client = login("technician")
    done = step_post(client, bay.step(1), "confirm", reason="Seen by both", **LOGIN)
    assert done.status_code == 303
    step = bay.step(1)
    assert (step.state, step.by, step.confirmed_by) == ("done", bay.technician, people["owner"])
    assert client.session["_auth_user_id"] == str(bay.technician.pk), "nobody else is logged in now"
    said = "Confirmed by Owner Test as a second person: Seen by both"
    assert said in bay_page(client, bay, 1)
    on_sheet = login("counter").get(reverse("jobs:sheet", args=[bay.job.pk])).content.decode()
    assert "Fill plug opens freely: Owner Test, “Seen by both”" in on_sheet
    kept = [*StepEvent.objects.values_list("data", flat=True), *(entry.told for entry in AuditEntry.objects.all())]
    assert "correct-horse" not in str(kept)


def test_a_wrong_password_of_the_second_person_is_counted_and_what_was_typed_stays(bay: Bay, people, login) -> None:
    client = login("technician")
    for _ in range(3):
        wrong = step_post(client, bay.step(1), "confirm", reason="Seen by both", **LOGIN | {"password": "open-sesame"})
    text = wrong.content.decode()
    assert wrong.status_code == 422 and "This name and this password do not go together." in text
    assert "Seen by both" in text and "open-sesame" not in text
    assert bay.step(1).state == "open"
    assert AccessAttempt.objects.get(username="owner").failures_since_start == 3


def test_ten_wrong_passwords_lock_the_second_person_out_too(bay: Bay, people, login) -> None:
    client = login("technician")
    for _ in range(10):
        step_post(client, bay.step(1), "confirm", reason="Seen by both", **LOGIN | {"password": "open-sesame"})
    right = step_post(client, bay.step(1), "confirm", reason="Seen by both", **LOGIN)
    assert right.status_code >= 400 and bay.step(1).state == "open"


def test_ones_own_password_is_no_second_person(bay: Bay, people, login) -> None:
    own: dict[str, Any] = {"username": bay.technician.username, "password": "correct-horse"}
    answer = step_post(login("technician"), bay.step(1), "confirm", reason="It is fine", **own)
    assert answer.status_code == 422 and "This must be somebody else" in answer.content.decode()
    assert bay.step(1).state == "open"


def test_a_step_to_be_confirmed_again_is_shown_so(bay: Bay, login) -> None:
    client = login("technician")
    bay.do_all()
    bay.do(5, "untick", reason="the lift sank")
    bay.do(5)
    text = bay_page(client, bay)
    assert "Check that this one still holds." in text and "Confirm again" in text
    assert "Leave it empty to keep what was read." in text
    finish = sheet(client.get(reverse("jobs:bay-finish", args=[bay.job.pk])))
    assert "confirm step 6, “Fill to the edge”, again" in finish
    assert step_post(client, bay.step(6)).status_code == 303
    assert not bay.step(6).again


# Work that was not done


def test_what_was_not_done_is_said_in_the_bay_and_on_the_sheet_until_it_is_reopened(bay: Bay, login) -> None:
    client, counter = login("technician"), login("counter")
    assert step_post(client, bay.step(1), "cannot").status_code == 422
    assert step_post(client, bay.step(1), "cannot", reason="the plug is seized").status_code == 303
    text = bay_page(client, bay)
    assert "<b>Not done</b>the plug is seized" in text and "Reopen operation" in text
    assert "before driving" in text
    on_sheet = counter.get(reverse("jobs:sheet", args=[bay.job.pk])).content.decode()
    assert "<b>Not done</b>the plug is seized" in on_sheet
    assert "record the customer’s word that they take the car as it is" in on_sheet
    client.post(reverse("jobs:bay-reopen", args=[bay.operation.pk]), {"reason": "penetrating oil helped"})
    assert "the plug is seized" not in bay_page(client, bay).replace("was not done: the plug is seized", "")
    assert step_post(client, bay.step(1)).status_code == 303


def test_reopening_without_a_reason_says_so(bay: Bay, login) -> None:
    client = login("technician")
    bay.do(1, "cannot", reason="the plug is seized")
    url = reverse("jobs:bay-reopen", args=[bay.operation.pk])
    assert "Write why it is reopened." in client.post(url, {"reason": ""}, follow=True).content.decode()
    assert NotDone.objects.get().undone_at is None


def test_the_customers_word_is_written_down_on_the_sheet(bay: Bay, login) -> None:
    counter = login("counter")
    bay.do(1, "cannot", reason="the plug is seized")
    url = reverse("jobs:car-taken", args=[bay.job.pk])
    empty = counter.get(url).content.decode()
    assert "the plug is seized" in empty and " checked" not in empty
    missing = counter.post(url, {**WORD, "how": "", "who": ""})
    text = missing.content.decode()
    assert missing.status_code == 422 and "Write who said it." in text and "Choose how it was said." in text
    assert "I know, I take it home." in text and "This field is required" not in text
    assert counter.post(url, WORD).status_code == 303
    assert CarTaken.objects.get().by is not None
    order = login("technician").get(reverse("jobs:work-order", args=[bay.job.pk])).content.decode()
    assert "<b>Not done</b>the plug is seized" in order and "“I know, I take it home.”" in order
    on_sheet = counter.get(reverse("jobs:sheet", args=[bay.job.pk])).content.decode()
    assert "Odile Marrant, by phone" in on_sheet and "“I know, I take it home.”" in on_sheet
    assert "record the customer’s word" not in on_sheet
    assert "Nothing on this job waits for the customer’s word." in counter.get(url).content.decode()


# Cautions


def test_cautions_stay_one_tap_away_and_come_back_for_whoever_takes_over(bay: Bay, login) -> None:
    caution = '<div class="warn" role="note"><b>Caution</b>Hot fluid burns. Let it cool.</div>'
    folded = 'Cautions (1)<span class="visually-hidden">: Transfer case fluid, change</span>'
    mine, other = login("technician"), login("counter")
    first = bay_page(mine, bay)
    assert caution in first and folded not in first
    step_post(mine, bay.step(1))
    after = bay_page(mine, bay)
    assert folded in after and caution in after[after.index(folded) :]
    over = bay_page(other, bay)
    assert caution in over and folded not in over
    step_post(other, bay.step(3), **SAMPLE)
    assert folded in bay_page(other, bay)
    assert folded not in bay_page(mine, bay)


# The final look


def test_finish_asks_for_the_final_look_with_an_unticked_box(bay: Bay, login) -> None:
    client, url = login("technician"), reverse("jobs:bay-finish", args=[bay.job.pk])
    bay.do_all()
    page = client.get(url).content.decode()
    assert "Plugs and filter tight and dry, levels right" in page and " checked" not in page
    without = client.post(url, {"reading": "88,412", "unit": "mi"})
    assert without.status_code == 422 and "Take the final look and tick it" in without.content.decode()
    assert 'value="88,412"' in without.content.decode()
    lower = client.post(url, {"look": "on", "reading": "88,000", "unit": "mi"})
    assert lower.status_code == 422, "the look is kept, the odometer is asked again"
    page = client.get(url).content.decode()
    assert "Taken by Technician Test" in page and "I took the final look" not in page
    assert client.post(url, {"reading": "88,412", "unit": "mi"}).status_code == 303
    on_sheet = login("counter").get(reverse("jobs:sheet", args=[bay.job.pk])).content.decode()
    assert "<dt>Final look</dt><dd>" in on_sheet and "Technician Test" in on_sheet


def test_where_another_person_looks_the_page_says_so_and_the_owner_writes_why(bay: Bay, people, login) -> None:
    ShopProfile.objects.update(second_look=True)
    url = reverse("jobs:bay-finish", args=[bay.job.pk])
    bay.do_all()
    mine = login("technician")
    assert "here another person takes the final look" in sheet(mine.get(url))
    refused = mine.post(url, {"look": "on", "reading": "88,412", "unit": "mi"})
    assert refused.status_code == 422 and not bay.job.final_looks.exists()
    User.objects.filter(pk=bay.technician.pk).update(role="owner")
    alone = mine.post(url, {"look": "on", "reading": "88,412", "unit": "mi"})
    assert alone.status_code == 422 and "Write why nobody else takes the final look." in alone.content.decode()
    given = {"look": "on", "look_reason": "alone on Saturdays", "reading": "88,412", "unit": "mi"}
    assert mine.post(url, given).status_code == 303
    assert bay.job.final_looks.get().reason == "alone on Saturdays"


def test_the_owner_sets_whether_another_person_looks(shop, people, login) -> None:
    page = login("owner").get(reverse("shop-profile")).content.decode()
    assert 'name="second_look"' in page and "another person takes the final look" in page.lower()


def test_the_same_act_sent_twice_is_one(bay: Bay, login) -> None:
    client, event = login("technician"), str(uuid.uuid4())
    for _ in range(2):
        step_post(client, bay.step(1), "cannot", event=event, base_version=0, reason="the plug is seized")
    assert NotDone.objects.count() == 1 and StepEvent.objects.filter(kind="cannot").count() == 1
