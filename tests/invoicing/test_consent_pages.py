"""Consent on the screens: what the form asks, what it refuses, and the acts of the sheet and the bay around it."""

import re
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client

from garage.clock import fixed
from invoicing.models import Authorization
from jobs.actions.writing_up import save_line
from jobs.models import Job, Line
from tests.decided import state
from tests.invoicing.cast import Garage, broken, charge, labor, part
from tests.invoicing.test_pages import form_of, text_of

D = Decimal
Login = Callable[[str], Client]


pytestmark = pytest.mark.usefixtures("real_clock")


def authorize_form(page: str) -> str:
    """The form as it is filled in, without what it merely offers to choose from."""
    start = page.index('id="authorize"')
    return re.sub(r"<datalist.*?</datalist>", "", page[start : page.index("</form>", start)])


def without_decisions(estimate: object, **more: str) -> dict[str, str]:
    sent = {name: value for name, value in form_of(estimate).items() if not name.startswith("decision_")}
    return {**sent, **more}


def test_nothing_that_becomes_evidence_is_filled_in_beforehand(garage: Garage, login: Login) -> None:
    estimate = garage.estimate(garage.job([labor("1")], [part()]))
    url = f"/jobs/{estimate.job_id}/authorize/"
    page = text_of(login("counter").get(url))
    form = authorize_form(page)
    assert " checked" not in form
    assert 'value="555-0142"' not in form and 'value="202.90"' not in form
    for name in ("person_name", "channel"):
        select = re.search(rf'<select name="{name}".*?</select>', form)
        assert select and "selected" not in select[0].replace('value="" selected', "")
    empty = {
        "key": form_of(estimate)["key"],
        "estimate_key": str(estimate.pk),
        "seal": estimate.content_sha256,
        "after_record": "0",
    }
    answer = text_of(login("counter").post(url, empty))
    for sentence in (
        "Choose who gave the authorization.",
        "Choose how the authorization was given.",
        "“Operation 1”: choose what the customer said",
        "“Operation 2”: choose what the customer said",
    ):
        assert sentence in answer
    assert "This field is required" not in answer.replace("id_at", "")
    assert not Authorization.objects.exists()


def test_a_form_opened_before_another_revision_shows_that_one_with_nothing_marked(garage: Garage, login: Login) -> None:
    client = login("counter")
    job = garage.job([labor("1"), part()])
    heard = garage.estimate(job)
    sent = form_of(heard, limit="202.90")
    line = Line.objects.get(kind="part")
    save_line(
        operation=line.operation, line=line, fields={"condition": "used"}, actor=garage.actor, clock=fixed(garage.now)
    )
    latest = garage.estimate(job)
    answer = client.post(f"/jobs/{job.pk}/authorize/", sent)
    page = text_of(answer)
    assert answer.status_code == 422 and not Authorization.objects.exists()
    assert f"Estimate {heard.label} was replaced by {latest.label} meanwhile, and nothing was recorded." in page
    assert "used instead of new, same price" in page
    form = authorize_form(page)
    assert latest.content_sha256 in form and " checked" not in form
    assert 'value="555-0142"' in form  # the call was made: what was typed about it stays
    client.post(f"/jobs/{job.pk}/authorize/", form_of(latest, limit="202.90"))
    assert Authorization.objects.get().estimate == latest


def test_a_second_tap_is_the_same_record(garage: Garage, login: Login) -> None:
    client = login("counter")
    estimate = garage.estimate(garage.job([labor("1")]))
    sent = form_of(estimate, limit="128.00")
    for _ in range(2):
        assert client.post(f"/jobs/{estimate.job_id}/authorize/", sent).status_code == 303
    assert Authorization.objects.count() == 1


def test_a_company_is_asked_for_the_persons_name(garage: Garage, login: Login) -> None:
    company = garage.customer("Fernhollow Veterinary", kind="company", contact="Noor Rahimi")
    estimate = garage.estimate(garage.job([labor("1")], customer=company))
    url = f"/jobs/{estimate.job_id}/authorize/"
    page = text_of(login("counter").get(url))
    assert '<option value="Noor Rahimi">' in page and "The name of the person, not of the company." in page
    refused = text_of(login("counter").post(url, form_of(estimate, person_name="fernhollow veterinary")))
    assert "is a company: write the name of the person" in refused
    login("counter").post(url, form_of(estimate, person_name="Tomas Heyl", limit="128.00", channel="text"))
    assert str(Authorization.objects.get().person) == "Tomas Heyl"


def test_a_yes_is_taken_back_on_the_form(garage: Garage, login: Login) -> None:
    job = garage.job([labor("1")], [part()])
    estimate = garage.estimate(job)
    garage.authorize(estimate)
    first = job.operations.get(position=1)
    url = f"/jobs/{job.pk}/authorize/"
    sheet = text_of(login("counter").get(f"/jobs/{job.pk}/"))
    assert f'<a href="{url}">The customer changed their mind</a>' in sheet
    assert "no longer wanted" in text_of(login("counter").get(url))
    sent = without_decisions(estimate, limit="", **{f"decision_{first.pk}": "withdrawn"})
    login("counter").post(url, {**sent, f"reason_{first.pk}": "sells the car"})
    assert state(first) == "declined"
    sheet = text_of(login("counter").get(f"/jobs/{job.pk}/"))
    assert "no longer wanted" in sheet and "sells the car" in sheet


def test_a_revised_estimate_says_what_is_authorized_and_what_is_new(garage: Garage, login: Login) -> None:
    job = garage.job([labor("1")])
    first = garage.estimate(job)
    assert "Not authorized" not in text_of(login("counter").get(f"/estimates/{first.pk}/"))
    garage.authorize(first)
    garage.line(job.operations.get(), **part("Clip", "3.00"))
    garage.operation(job, "Rear brake pads", part())
    revised = garage.estimate(job)
    page = text_of(login("counter").get(f"/estimates/{revised.pk}/"))
    assert "Authorized at $128.00. Not authorized: Clip added, $3.00; $3.00 more" in page
    assert "New, not authorized" in page
    form = text_of(login("counter").get(f"/jobs/{job.pk}/authorize/"))
    assert "Authorized at $128.00 before tax" in form
    assert "change declined, the earlier authorization stays" in form


def test_the_sheet_starts_what_is_authorized_and_the_bay_keeps_the_rest_closed(garage: Garage, login: Login) -> None:
    job = garage.job([labor("1")], [part()])
    estimate = garage.estimate(job)
    first = job.operations.get(position=1)
    garage.authorize(estimate, decisions={first.pk: ("authorized", "")})
    sheet = text_of(login("counter").get(f"/jobs/{job.pk}/"))
    assert "Start work" in sheet and "Record authorization" in sheet
    assert "Ready to start" in text_of(login("technician").get("/bay/"))
    assert "Start work" in text_of(login("technician").get(f"/bay/{job.pk}/"))
    login("counter").post(f"/jobs/{job.pk}/start/", {"technician": garage.people["technician"].pk})
    assert Job.objects.get().stage == "in_bay"
    bay = text_of(login("technician").get(f"/bay/{job.pk}/"))
    assert bay.count("not authorized: it may not be started") == 1
    sheet = text_of(login("counter").get(f"/jobs/{job.pk}/"))
    assert "Operation 2: no work on it before the customer was asked." in sheet


def test_declined_work_has_one_act_on_the_sheet(garage: Garage, login: Login) -> None:
    client = login("counter")
    job = garage.job([labor("1")], [part()])
    second = job.operations.get(position=2)
    garage.authorize(garage.estimate(job), {second.pk: "not this year"})
    sheet = text_of(client.get(f"/jobs/{job.pk}/"))
    section = sheet[sheet.index(f'id="op-{second.pk}"') :]
    assert "Offer again" in section and f"/lines/{second.lines.get().pk}/" not in section
    assert f"/operations/{second.pk}/remove/" not in section
    again = text_of(client.post(f"/operations/{second.pk}/offer-again/", follow=True))
    assert "is offered again: ask the customer again." in again
    assert "offered again, not decided" in again
    assert state(job.operations.get(position=2)) == "undecided"
    assert client.get(f"/operations/{second.pk}/offer-again/").status_code == 405
    assert login("technician").post(f"/operations/{second.pk}/offer-again/").status_code == 403


def test_authorized_work_is_removed_after_a_question(garage: Garage, login: Login) -> None:
    client = login("counter")
    job = garage.job([labor("1")], [part()])
    garage.authorize(garage.estimate(job))
    second = job.operations.get(position=2)
    url = f"/operations/{second.pk}/remove/"
    assert f'href="{url}"' in text_of(client.get(f"/jobs/{job.pk}/"))
    for page in (client.get(url), client.post(url)):
        assert "its customer expects it to be done" in text_of(page)
    assert job.operations.count() == 2
    said = text_of(client.post(url, {"although_authorized": "yes"}, follow=True))
    assert "is off the sheet" in said and job.operations.count() == 1
    garage.finish(garage.into_bay(job))
    draft = text_of(client.get(f"/jobs/{job.pk}/invoice/"))
    assert "“Operation 2” was authorized and taken off the sheet: it is not billed, $74.90 less." in draft


def test_the_draft_names_each_operation_that_is_over(garage: Garage, login: Login) -> None:
    job = garage.done([labor("1")], [part()])
    line = Line.objects.get(kind="part")
    save_line(
        operation=line.operation, line=line, fields={"unit_price": D("80.00")}, actor=garage.actor,
        clock=fixed(garage.now),
    )  # fmt: skip
    page = text_of(login("counter").get(f"/jobs/{job.pk}/invoice/"))
    assert "“Operation 2” comes to $5.10 more than the $74.90 that was authorized (before tax)." in page
    assert "Write revised estimate" in page and "Issue invoice" not in page


def test_work_is_no_longer_wanted_though_only_the_goodwill_is_left(garage: Garage, login: Login) -> None:
    client, job = login("counter"), garage.job([labor("1")], [charge("Sorry", "-10.00", finer="goodwill")])
    first, sorry = job.operations.order_by("pk")
    garage.authorize(garage.estimate(job))
    estimate = garage.estimate(job)
    decided = {f"decision_{first.pk}": "withdrawn", f"reason_{first.pk}": "sold the car", "limit": ""}
    answer = client.post(f"/jobs/{job.pk}/authorize/", without_decisions(estimate, **decided))
    assert answer.status_code == 303
    assert Authorization.objects.latest("pk").limit == D("-10.00")
    again = {f"decision_{sorry.pk}": "withdrawn", f"reason_{sorry.pk}": "all of it", "limit": ""}
    assert client.post(f"/jobs/{job.pk}/authorize/", without_decisions(estimate, **again)).status_code == 303
    assert Authorization.objects.latest("pk").limit == 0
    assert broken() == []


def test_goodwill_alone_is_authorized_at_what_was_read_out(garage: Garage, login: Login) -> None:
    client, job = login("counter"), garage.job([charge("Sorry", "-10.00", finer="goodwill")])
    estimate = garage.estimate(job)
    assert client.post(f"/jobs/{job.pk}/authorize/", form_of(estimate, limit="\N{MINUS SIGN}10.00")).status_code == 303
    said = Authorization.objects.get()
    assert (said.limit, said.limit_gross) == (D("-10.00"), D("-10.73"))  # with 7.25 % of it, rounded half up
    assert "\N{MINUS SIGN}10.00" in text_of(client.get(f"/jobs/{job.pk}/"))
    assert broken() == []
