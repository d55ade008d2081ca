"""Attacks on “nothing is billed that was not authorized”, by the screens and the verbs: each one once got through, or
was tried and held. What is legal leaves `books_check` silent.
"""

import datetime as dt
import re
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from garage.actions.merging import merge_customer
from garage.clock import fixed
from garage.errors import Refused
from garage.models import Customer, User
from invoicing.models import Authorization, Invoice, TaxRate
from jobs.actions.finishing import finish_job
from jobs.actions.intake import Odometer
from jobs.models import Line
from tests.invoicing.cast import Garage, labor, part
from tests.invoicing.consent_cast import change, drafted, take_off
from tests.invoicing.test_pages import form_of, text_of
from tests.invoicing.test_unbilled import yes_again
from tests.invoicing.write_off_cast import broken, draft_page, tap, with_sensor
from tests.jobs.bay_cast import Bay, in_bay

D = Decimal
Login = Callable[[str], Client]


@pytest.fixture
def garage(garage: Garage) -> Garage:
    """These tests go through the pages, whose clock is the real one."""
    garage.now = timezone.now()
    TaxRate.objects.update(valid_from=garage.now.date().replace(month=1, day=1))
    return garage


# Records


@pytest.mark.parametrize("nobody", ["-", "???", "1", "\N{EN DASH} \N{EN DASH}"])
def test_a_sign_is_no_person(garage: Garage, login: Login, nobody: str) -> None:
    company = garage.customer("Fernhollow Veterinary", kind="company")
    estimate = garage.estimate(garage.job([labor("1")], customer=company))
    sent = form_of(estimate, person_name=nobody, limit="128.00")
    answer = login("counter").post(f"/jobs/{estimate.job_id}/authorize/", sent)
    assert answer.status_code == 422 and "Write who gave the authorization." in text_of(answer)
    assert not Authorization.objects.exists()


@pytest.mark.parametrize("ahead", [dt.timedelta(hours=2), dt.timedelta(days=3)])
def test_an_estimate_of_a_clock_that_was_ahead_is_answered(garage: Garage, login: Login, ahead: dt.timedelta) -> None:
    job, real = garage.job([labor("1")]), garage.now
    garage.now = real + ahead
    estimate = garage.estimate(job)
    garage.now = real
    page = login("counter").post(f"/jobs/{job.pk}/authorize/", form_of(estimate, limit="128.00"), follow=True)
    assert "Recorded what Odile Marrant decided." in text_of(page)
    garage.finish(garage.into_bay(job))
    garage.issue(job)
    assert broken() == []


# Bill only what was authorized, and what comes after it


def test_what_was_taken_off_for_a_line_does_not_stay_off_without_it(garage: Garage, login: Login) -> None:
    """Else the paper says that a sensor is not charged which is not on it, and what was authorized is charged less."""
    client, job = login("counter"), with_sensor(garage)
    tap(client, job)
    take_off(garage, Line.objects.get(description="Wear sensor"))
    page = draft_page(client, job)
    assert "“Operation 1”: 12.00 more is taken off than is above what was authorized" in page
    assert "Issue the invoice" not in page
    with pytest.raises(Refused, match="12.00 more is taken off"):
        garage.issue(job)
    undone = text_of(client.post(f"/jobs/{job.pk}/only-authorized/undo/", follow=True))
    assert "$12.00 is on the bill again." in undone and "Issue the invoice" in undone
    assert garage.issue(job).net == D("254.10")
    assert broken() == []


# Skipped steps


def test_billed_less_is_less_than_was_poured(garage: Garage, people: dict[str, User], login: Login) -> None:
    """Lowering what was written of a fluid that stays poured lowers nothing on the bill."""
    bay = worked(garage, people, poured=True)
    before, client = drafted(bay.job).net, login("counter")
    client.post(f"/operations/{bay.operation.pk}/skipped/", {"choice": "less", "words": "Half of it."})
    fluid = Line.objects.get(kind="fluid")
    change(garage, fluid, quantity=D("0.5"), typed="0.5 L")
    assert drafted(bay.job).net == before
    assert "is to be billed less: lower its hours" in draft_page(client, bay.job)
    with pytest.raises(Refused, match="is to be billed less"):
        garage.issue(bay.job)
    change(garage, fluid, unit_price=D("50.00"))
    assert garage.issue(bay.job).net < before
    assert broken() == []


def test_work_all_of_whose_steps_were_skipped_is_billed_with_a_word(
    garage: Garage, people: dict[str, User], login: Login
) -> None:
    bay = worked(garage, people, poured=False)
    client, job = login("counter"), bay.job
    draft = draft_page(client, job)
    assert "its steps were skipped: it is not billed" in draft and "nothing to bill" in draft
    with pytest.raises(Refused, match="nothing to bill"):
        garage.issue(job)
    seen = draft.partition('name="seen" value="')[2].partition('"')[0]
    sent = {"seen": seen, "choice": "done", "words": "Done, on paper."}
    said = client.post(f"/operations/{bay.operation.pk}/skipped/", sent, follow=True)
    assert "Issue the invoice" in text_of(said)
    invoice = garage.issue(job)
    assert invoice.net == bay.operation.lines.get(kind="labor").unit_price * D("1.2")  # nothing was drawn
    assert invoice.operations.get().correction.endswith("Done, on paper.")
    assert broken() == []


def worked(garage: Garage, people: dict[str, User], *, poured: bool) -> Bay:
    """A fluid change that was finished although its fluid was not looked at, or although all of it was skipped."""
    bay = in_bay(people, garage.now)
    yes_again(garage, bay.job)
    readings = {2: "0.82", 4: "13", 6: "0.85", 7: "13"} if poured else {}
    for number in range(1, 8):
        if poured and number != 3:
            bay.do(number, **({"reading": readings[number]} if number in readings else {}))
        else:
            bay.do(number, "skip", reason="the tablet was dead")
    finish_job(job=bay.job, odometer_out=Odometer(88412, "mi"), actor=bay.technician, clock=fixed(garage.now))
    return bay


# Stale drafts


def issue_form(page: str) -> dict[str, str]:
    """What the form that issues sends as the page gives it."""
    form = page[page.rindex("<form", 0, page.index('name="due_on"')) :].partition("</form>")[0]
    inputs = re.findall(r"<input[^>]*>", form)
    named = [(re.search(r'name="([^"]+)"', row), re.search(r'value="([^"]*)"', row)) for row in inputs]
    return {name[1]: value[1] if value else "" for name, value in named if name}


def test_a_draft_that_changed_since_it_was_looked_at_is_shown_again(garage: Garage, login: Login) -> None:
    client, job = login("counter"), garage.done([labor("1")], [part()])
    stale = issue_form(draft_page(client, job))
    change(garage, Line.objects.get(kind="part"), unit_price=D("7.49"))  # in another tab, a slip of the point
    answer = client.post(f"/jobs/{job.pk}/invoice/", stale)
    page = text_of(answer)
    assert answer.status_code == 422 and not Invoice.objects.exists()
    assert "The draft changed meanwhile: it comes to 136.03 with tax now. Look at it again." in page
    change(garage, Line.objects.get(kind="part"), unit_price=D("74.90"))
    assert client.post(f"/jobs/{job.pk}/invoice/", issue_form(draft_page(client, job))).status_code == 303
    assert Invoice.objects.get().net == D("202.90")
    assert broken() == []


def test_what_is_shown_again_can_be_issued(garage: Garage, login: Login) -> None:
    client, job = login("counter"), garage.done([labor("1")], [part()])
    stale = issue_form(draft_page(client, job))
    change(garage, Line.objects.get(kind="part"), discount=D("0.1"))
    again = issue_form(text_of(client.post(f"/jobs/{job.pk}/invoice/", stale)))
    for _ in range(2):  # and a double tap is one
        assert client.post(f"/jobs/{job.pk}/invoice/", again).status_code == 303
    assert Invoice.objects.get().net == D("195.41")


# A customer who was merged in the middle


def merged(garage: Garage, customer: Customer, **fields: object) -> Customer:
    other = garage.customer("Odile Marrant-Voss", **fields)
    return merge_customer(customer=customer, into=other, actor=garage.actor, clock=fixed(garage.now))


def test_the_customer_of_a_merged_job_answers_by_either_name(garage: Garage, login: Login) -> None:
    client, job = login("counter"), garage.job([labor("1")])
    estimate = garage.estimate(job)
    merged(garage, job.customer)
    assert '<option value="Odile Marrant-Voss">' in text_of(client.get(f"/jobs/{job.pk}/authorize/"))
    sent = form_of(estimate, limit="128.00", person_name="Odile Marrant-Voss")
    assert client.post(f"/jobs/{job.pk}/authorize/", sent).status_code == 303
    garage.finish(garage.into_bay(job))
    garage.issue(job)
    assert broken() == []


def test_an_exemption_that_went_with_a_merge_is_asked_about(garage: Garage, login: Login) -> None:
    """The closed row can no longer be edited: its certificate would have gone on for ever."""
    exempt = garage.customer(tax_exempt=True, exemption_certificate="EX-9")
    job = garage.done([part()], customer=exempt)
    merged(garage, exempt)
    page = draft_page(login("counter"), job)
    assert "Not authorized" in page and "Issue the invoice" not in page
    tap(login("counter"), job)
    invoice = garage.issue(job)
    assert invoice.tax > 0 and invoice.gross == D("74.90")
    assert broken() == []
