"""Attacks on “nothing is billed that was not authorized”, by the screens and the verbs: each one once got through, or
was tried and held. What is legal leaves `books_check` silent.
"""

import datetime as dt
import re
import uuid
from collections.abc import Callable, Iterable, Iterator
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client

from garage import database
from garage.actions.merging import merge_customer
from garage.clock import fixed
from garage.errors import Refused
from garage.models import Customer, User
from invoicing.actions.left_out import bill_left_out, leave_it
from invoicing.models import Authorization, Invoice
from jobs.actions.intake import Odometer
from jobs.models import Job, Line
from tests.budget import queries_of
from tests.invoicing.cast import Garage, broken, labor, part
from tests.invoicing.consent_cast import BACK, NO, YES, again, back_on, change, drafted, operations, say, take_off
from tests.invoicing.counter_sales import pieces, sold, wiper_blade
from tests.invoicing.test_pages import form_of, text_of
from tests.invoicing.test_unbilled import yes_again
from tests.invoicing.test_walk_in_pages import typed
from tests.invoicing.write_off_cast import draft_page, tap, with_sensor
from tests.jobs.bay_cast import UNGUARDED, Bay, in_bay, look_and_finish

D = Decimal
Login = Callable[[str], Client]


pytestmark = pytest.mark.usefixtures("real_clock")


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
    assert "Authorization saved." in text_of(page)
    garage.finish(garage.into_bay(job))
    garage.issue(job)
    assert broken() == []


def test_declined_work_is_named_by_the_title_that_was_declined(garage: Garage, login: Login) -> None:
    job = garage.job([labor("1")])
    operation = operations(job)[0]
    say(garage, job, operation, NO)
    sent = {"title": "Something else", "concern": "", "cause": "", "correction": ""}
    answer = login("counter").post(f"/operations/{operation.pk}/edit/", sent, headers={"hx-request": "true"})
    assert answer.status_code == 422 and "“Operation 1” was declined, and that stays on record" in text_of(answer)
    assert 'value="Something else"' in text_of(answer)  # typed, and not lost


# Bill only what was authorized, and what comes after it


def test_what_was_taken_off_for_a_line_does_not_stay_off_without_it(garage: Garage, login: Login) -> None:
    """Else the paper says that a sensor is not charged which is not on it, and what was authorized is charged less."""
    client, job = login("counter"), with_sensor(garage)
    tap(client, job)
    take_off(garage, Line.objects.get(description="Wear sensor"))
    page = draft_page(client, job)
    assert "“Operation 1”: $12.00 more is taken off than is above what was authorized" in page
    assert "Issue invoice" not in page
    with pytest.raises(Refused, match=r"\$12.00 more is taken off"):
        garage.issue(job)
    undone = text_of(client.post(f"/jobs/{job.pk}/only-authorized/undo/", follow=True))
    assert "$12.00 is on the bill again." in undone and "Issue invoice" in undone
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
    assert "Issue invoice" in text_of(said)
    invoice = garage.issue(job)
    assert invoice.net == bay.operation.lines.get(kind="labor").unit_price * D("1.2")  # nothing was drawn
    assert invoice.operations.get().correction.endswith("Done, on paper.")
    assert broken() == []


def worked(garage: Garage, people: dict[str, User], *, poured: bool) -> Bay:
    """A fluid change that was finished although its fluid was not looked at, or although all of it was skipped."""
    bay = in_bay(people, garage.now, UNGUARDED)
    yes_again(garage, bay.job)
    readings: dict[int, dict[str, Any]] = {2: {"reading": "0.82"}, 6: {"reading": "0.85"}}
    readings |= {number: {"reading": "13"} for number in (4, 7)}
    for number in range(1, 8):
        if poured and number != 3:
            bay.do(number, **readings.get(number, {}))
        else:
            bay.do(number, "skip", reason="the tablet was dead")
    look_and_finish(job=bay.job, odometer_out=Odometer(88412, "mi"), actor=bay.technician, clock=fixed(garage.now))
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
    assert "The draft changed meanwhile: it comes to $136.03 with tax now. Look at it again." in page
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
    assert "Not authorized" in page and "Issue invoice" not in page
    tap(login("counter"), job)
    invoice = garage.issue(job)
    assert invoice.tax > 0 and invoice.gross == D("74.90")
    assert broken() == []


# Tried, and held


@pytest.mark.parametrize("typed", ["99999", "0.01", "-1", "0", "1280", "12.80", ""])
def test_an_amount_is_the_one_that_was_read_out(garage: Garage, login: Login, typed: str) -> None:
    estimate = garage.estimate(garage.job([labor("1")]))
    answer = login("counter").post(f"/jobs/{estimate.job_id}/authorize/", form_of(estimate, limit=typed))
    assert answer.status_code == 422 and not Authorization.objects.exists()


@pytest.mark.parametrize("lie", [{"seal": "0" * 64}, {"after_record": ""}, {"decision_1": "maybe"}, {"key": "x"}])
def test_a_form_that_was_meddled_with_records_nothing(garage: Garage, login: Login, lie: dict[str, str]) -> None:
    estimate = garage.estimate(garage.job([labor("1")]))
    lie = {f"decision_{estimate.operations.get().operation_id}" if "decision" in key else key: lie[key] for key in lie}
    answer = login("counter").post(f"/jobs/{estimate.job_id}/authorize/", {**form_of(estimate, limit="128.00"), **lie})
    assert answer.status_code == 422 and not Authorization.objects.exists()


def test_a_form_of_one_job_says_nothing_on_another(garage: Garage, login: Login) -> None:
    first, second = garage.estimate(garage.job([labor("1")])), garage.estimate(garage.job([labor("2")]))
    answer = login("counter").post(f"/jobs/{first.job_id}/authorize/", form_of(second, limit="256.00"))
    assert answer.status_code == 422 and not Authorization.objects.exists()


def test_what_was_taken_off_before_another_yes_asks_when_it_is_put_back(garage: Garage) -> None:
    """The revised total that was agreed to did not hold it."""
    job = garage.job([labor("1"), part()], [part("Rotor", "90.00")])
    first, second = operations(job)
    garage.authorize(garage.estimate(job), decisions={first.pk: YES})
    removed = take_off(garage, first.lines.get(kind="part"))
    say(garage, job, second, YES, "218.00")
    back_on(garage, removed)
    garage.finish(garage.into_bay(job))
    with pytest.raises(Refused, match=r"\$74.90 more than the \$128.00 that was authorized"):
        garage.issue(job)
    assert broken() == []


def test_declined_only_authorized_undone_and_priced_anew(garage: Garage, login: Login) -> None:
    client, job = login("counter"), with_sensor(garage)
    tap(client, job)
    for _ in range(2):  # the second undo finds nothing
        client.post(f"/jobs/{job.pk}/only-authorized/undo/")
    for price, over in (("0.01", True), ("0.00", False)):
        change(garage, Line.objects.get(description="Wear sensor"), unit_price=D(price))
        assert bool(drafted(job).over) is over
    assert garage.issue(job).net == D("254.10")
    assert broken() == []


def test_a_later_invoice_and_the_first_one_credited_bill_each_work_once(garage: Garage) -> None:
    job = garage.done([labor()], [part()])
    second = operations(job)[1]
    say(garage, job, second, BACK)
    first = garage.issue(job, leaving_out=[second.pk])
    who: dict[str, Any] = {"actor": garage.actor, "clock": fixed(garage.now)}
    bill_left_out(job=job, **who)
    again(garage, second)
    say(garage, job, second, YES, "254.10")
    garage.issue(job)
    garage.credit(first)
    leave_it(job=job, **who)
    bill_left_out(job=job, **who)
    assert garage.issue(job).net == D("179.20")
    with pytest.raises(Refused, match="is billed"):
        bill_left_out(job=job, **who)
    assert broken() == []


@pytest.mark.parametrize(
    ("row", "more"),
    [
        (("-1", "18.50"), {}), (("1.5", "18.50"), {}), (("1e3", "18.50"), {}), (("9" * 14, "18.50"), {}),
        (("1", "-5"), {}), (("1", "18.505"), {}), (("1", "1e9"), {}), (("1", "NaN"), {}),
        (("1", "18.50"), {"method": "account"}), (("1", "18.50"), {"method": "account", "customer": "walk-in"}),
        (("1", "18.50"), {"customer": "9" * 26}), (("1", "18.50"), {"lines": "-3"}), (("1", "18.50"), {"method": "x"}),
        (("1", "18.50"), {"lines-0-item": "9" * 26}),
    ],
)  # fmt: skip
def test_a_sale_that_cannot_be_sells_nothing(garage: Garage, login: Login, row: Any, more: dict[str, str]) -> None:
    blade = wiper_blade(garage)
    sold(garage, pieces(blade, 1))
    if more.get("customer") == "walk-in":
        more = {**more, "customer": str(Customer.objects.get(walk_in=True).pk)}
    answer = login("counter").post("/counter/sell/", typed((blade, *row), **{"method": "cash", **more}))
    assert answer.status_code == 422 and Invoice.objects.count() == 1


def test_labor_that_is_smuggled_into_a_sale_is_the_part_it_comes_with(garage: Garage, login: Login) -> None:
    lie = {"kind": "labor", "finer": "write_off", "discount": "100", "description": "Labor", "tax_class": "none"}
    sent = typed((wiper_blade(garage), "1", "18.50"), method="cash") | {f"lines-0-{name}": lie[name] for name in lie}
    login("counter").post("/counter/sell/", sent)
    line = Line.objects.get()
    assert (line.kind, line.finer, line.discount, line.tax_class) == ("part", "", D(0), "parts")
    new = {"description": "Labor", "quantity": "1", "unit_price": "90", "tax_class": "labor", "key": str(uuid.uuid4())}
    answer = login("counter").post(f"/operations/{line.operation_id}/lines/new/?kind=labor", new)
    assert answer.status_code == 422 and Line.objects.count() == 1
    assert broken() == []


def test_many_answers_cost_no_more_questions(garage: Garage, login: Login) -> None:
    client, job = login("counter"), garage.done([labor("1"), part()])
    pages = [f"/jobs/{job.pk}/", f"/jobs/{job.pk}/authorize/", f"/jobs/{job.pk}/invoice/"]
    revised(garage, job, [101])
    before = [len(queries_of(client, page)) for page in pages]
    revised(garage, job, range(102, 122))
    assert [len(queries_of(client, page)) for page in pages] == before
    assert job.estimates.count() == 22


def revised(garage: Garage, job: Job, prices: Iterable[int]) -> None:
    """The part costs more each time, and each time the customer says yes."""
    for price in prices:
        change(garage, Line.objects.get(kind="part"), unit_price=D(price))
        yes_again(garage, job)


@pytest.fixture
def unguarded(garage: Garage) -> Iterator[None]:
    """A bill, a declined operation, a sale; and somebody with the database file open and the triggers dropped."""
    job = garage.job([labor("1"), part()], [part("Rotor", "90.00")])
    second = operations(job)[1]
    garage.authorize(garage.estimate(job), {second.pk: "not now"})
    garage.finish(garage.into_bay(job))
    garage.issue(job)
    sold(garage, pieces(wiper_blade(garage), 1))
    assert broken() == []
    database.remove_guards(connection)
    yield
    database.install(connection)


@pytest.mark.usefixtures("unguarded")
@pytest.mark.parametrize(
    "tampering",
    [
        "UPDATE invoicing_invoice SET consent = 'sale' WHERE number = 1",
        "UPDATE invoicing_invoice SET consent_seq = 0 WHERE number = 1",
        "UPDATE invoicing_invoiceoperation SET operation_id = (SELECT max(id) FROM jobs_operation)",
        "UPDATE invoicing_invoiceline SET line_id = NULL WHERE kind = 'labor'",
        "UPDATE invoicing_authorizationoperation SET decision = 'authorized'",
        "DELETE FROM invoicing_authorizationoperation WHERE decision = 'declined'",
        "UPDATE invoicing_authorization SET slack = 10000",
        "UPDATE invoicing_authorization SET chain_seq = chain_seq + 5",
        "UPDATE invoicing_estimateoperation SET operation_id = NULL WHERE position = 2",
        "UPDATE invoicing_estimateline SET if_needed = true WHERE kind = 'part'",
        "UPDATE invoicing_estimate SET limit_with_tax = true",
        "UPDATE invoicing_invoiceline SET kind = 'labor' WHERE description LIKE '%blade%'",
    ],
)
def test_consent_that_is_changed_behind_the_program_is_found(tampering: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(tampering)
        assert cursor.rowcount > 0
    assert broken() != []
