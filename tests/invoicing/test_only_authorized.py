"""Billing only what was authorized: what nobody said yes to comes off by one act, with its tax, and can come back.

That work and parts beyond an authorization are not charged: Cal. Bus. & Prof. Code 9884.9(a), 16 CCR 3354. By which
lines they come off, and that the tax falls with its base, is the house's own rule.
"""

import datetime as dt
import uuid
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client

from garage.clock import fixed
from garage.errors import Refused
from garage.models import AuditEntry
from invoicing import papers
from invoicing.actions.invoices import OverLimit
from invoicing.actions.left_out import bill_left_out
from invoicing.actions.only_authorized import charge_it_again
from invoicing.models import Invoice, InvoiceLine
from invoicing.today_margin import margin_for
from jobs.actions.removing import remove_line
from jobs.actions.writing_up import edit_operation
from jobs.models import Finer, Line
from tests.budget import queries_of
from tests.invoicing.cast import Garage, broken, charge, labor, part
from tests.invoicing.consent_cast import BACK, YES, change, drafted, say
from tests.invoicing.test_pages import text_of
from tests.invoicing.write_off_cast import (
    draft_page,
    exempt_no_more,
    hidden,
    line_of,
    off,
    only_authorized,
    tap,
    with_sensor,
)

D = Decimal
Login = Callable[[str], Client]


pytestmark = pytest.mark.usefixtures("real_clock")


# The act


def test_a_declined_addition_comes_off_with_its_tax_and_the_draft_is_issued(garage: Garage, login: Login) -> None:
    client, job = login("counter"), with_sensor(garage)
    page = draft_page(client, job)
    assert "Wear sensor added, $12.00" in page and "Issue invoice" not in page
    assert "$12.00 before tax comes off" in page and "pays $12.87 less" in page  # 7.25 % of 12.00 is 0.87
    with pytest.raises(OverLimit):
        garage.issue(job)
    page = tap(client, job)
    assert "$12.00 is not charged" in page and "Issue invoice" in page
    assert off(job) == {"parts": D("12.00")}
    sent = {"key": str(uuid.uuid4()), "due_on": garage.today.replace(year=2090).isoformat()}
    assert client.post(f"/jobs/{job.pk}/invoice/", sent).status_code == 303
    invoice = Invoice.objects.get()
    assert (invoice.net, invoice.tax) == (D("254.10"), D("5.43"))  # as without the sensor
    sensor, not_charged = InvoiceLine.objects.filter(invoice_operation__invoice=invoice).order_by("position")[2:]
    assert (sensor.description, sensor.net, not_charged.net) == ("Wear sensor", D("12.00"), D("-12.00"))
    shown = text_of(client.get(f"/invoices/{invoice.pk}/"))
    assert "Not charged, as it was not authorized: Wear sensor" in shown and "−12.00" in shown
    paper = str(papers.invoice_paper(invoice.pk))
    assert "Not charged, as it was not authorized: Wear sensor" in paper
    assert broken() == []


def test_a_price_raised_after_the_yes_comes_off_each_class_it_was_raised_in(garage: Garage, login: Login) -> None:
    client, job = login("counter"), garage.done([labor("1.4"), part()], [charge("Disposal", "5.00")])
    change(garage, line_of(job), unit_price=D("90.00"))
    change(garage, line_of(job, "labor"), quantity=D("1.6"), typed="")
    tap(client, job)
    assert off(job) == {"parts": D("15.10"), "labor": D("25.60")}
    invoice = garage.issue(job)
    assert (invoice.net, invoice.tax) == (D("259.10"), D("5.79"))  # 7.25 % of 79.90, as was authorized
    assert broken() == []


def test_what_rose_in_one_class_and_fell_in_another_is_taken_off_as_far_as_the_limit(garage: Garage) -> None:
    job = garage.done([labor("1.4"), part(), charge("Disposal", "5.00")])
    change(garage, line_of(job), unit_price=D("94.90"))  # 20.00 more
    change(garage, line_of(job, "charge"), unit_price=D("8.00"))  # 3.00 more
    change(garage, line_of(job, "labor"), quantity=D("1.3"), typed="")  # 12.80 less
    only_authorized(garage, job, "10.20")
    assert off(job) == {"parts": D("10.20")}  # where most was added
    assert garage.issue(job).net == D("259.10")
    assert broken() == []


def test_what_was_poured_above_the_estimate_stays_poured(garage: Garage, login: Login) -> None:
    client, fluid = login("counter"), garage.fluid()
    job = garage.job([labor(), garage.poured(fluid, "0.85")])
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    garage.draw(line_of(job, "fluid"), "1")
    garage.finish(job)
    tap(client, job)
    invoice = garage.issue(job)
    poured = InvoiceLine.objects.get(invoice_operation__invoice=invoice, kind="fluid")
    assert (poured.quantity, poured.net, poured.cost) == (D(1), D("61.20"), D("36"))
    assert invoice.net == D("179.20") + D("52.02")  # 0.85 L at 61.20
    fluid.refresh_from_db()
    assert fluid.on_hand == D(2)
    assert broken() == []


@pytest.mark.parametrize("other", [{"condition": "used"}, {"description": "Pad set by another maker"}])
def test_another_part_than_was_authorized_is_not_charged_at_all(garage: Garage, other: dict[str, str]) -> None:
    job = garage.done([labor(), part()])
    change(garage, line_of(job), **other)
    with pytest.raises(OverLimit):
        garage.issue(job)
    only_authorized(garage, job, "74.90")
    assert (invoice := garage.issue(job)).net == D("179.20")
    assert invoice.tax == 0
    assert broken() == []


def test_goodwill_already_given_does_not_let_a_class_fall_below_zero(garage: Garage) -> None:
    job = garage.done([labor()])
    garage.line(job.operations.get(), **part("Wear sensor", "12.00"))
    garage.line(job.operations.get(), **charge("For the wait", "-5.00", tax_class="parts", finer="goodwill"))
    only_authorized(garage, job, "7.00")
    invoice = garage.issue(job)
    assert (invoice.net, invoice.tax) == (D("179.20"), D("0.00"))
    assert broken() == []


def test_each_operation_comes_down_to_its_own_limit(garage: Garage) -> None:
    job = garage.done([part(price="50.00")], [part("Rotor", "80.00")])
    change(garage, line_of(job), unit_price=D("60.00"))
    change(garage, Line.objects.get(description="Rotor"), unit_price=D("40.00"))  # lends nothing
    only_authorized(garage, job, "10.00")
    assert [row.net for row in garage.issue(job).operations.all()] == [D("50.00"), D("40.00")]
    assert broken() == []


# Again, otherwise, undone


def test_a_second_tap_takes_nothing_off_a_second_time(garage: Garage, login: Login) -> None:
    client, job = login("counter"), with_sensor(garage)
    sent = hidden(draft_page(client, job))
    tap(client, job, sent)
    tap(client, job, sent)
    assert off(job) == {"parts": D("12.00")} and AuditEntry.objects.filter(verb__startswith="billed only").count() == 1
    assert "nothing is taken off" in tap(client, job, sent | {"key": str(uuid.uuid4())})
    assert "This page expired" in tap(client, job, {"key": "no key"})
    assert Line.objects.filter(finer=Finer.WRITE_OFF).count() == 1


def test_another_amount_than_was_shown_is_refused(garage: Garage, login: Login) -> None:
    client, job = login("counter"), with_sensor(garage)
    sent = hidden(draft_page(client, job))
    change(garage, Line.objects.get(description="Wear sensor"), unit_price=D("40.00"))
    assert "$40.00 would come off now" in tap(client, job, sent)
    assert off(job) == {}


def test_it_is_worked_out_anew_when_more_goes_beyond(garage: Garage, login: Login) -> None:
    client, job = login("counter"), with_sensor(garage)
    tap(client, job)
    garage.line(job.operations.get(), **part("Clip", "3.00"))
    page = draft_page(client, job)
    assert "Clip added, $3.00" in page and "Issue invoice" not in page
    tap(client, job)
    assert off(job) == {"parts": D("15.00")} and Line.objects.filter(finer=Finer.WRITE_OFF).count() == 1
    assert garage.issue(job).net == D("254.10")


def test_it_is_undone_while_there_is_no_invoice(garage: Garage, login: Login) -> None:
    client, job = login("counter"), with_sensor(garage)
    page = tap(client, job)
    assert "Undo" in page
    page = text_of(client.post(f"/jobs/{job.pk}/only-authorized/undo/", follow=True))
    assert "12.00 is on the bill again" in page and "Bill authorized only" in page
    assert off(job) == {}
    assert "that could be charged again" in text_of(client.post(f"/jobs/{job.pk}/only-authorized/undo/", follow=True))
    tap(client, job)
    invoice = garage.issue(job)
    with pytest.raises(Refused, match="its work can no longer be changed"):
        charge_it_again(job=job, actor=garage.actor, clock=fixed(garage.now))
    garage.credit(invoice)
    charge_it_again(job=job, actor=garage.actor, clock=fixed(garage.now))
    with pytest.raises(OverLimit):
        garage.issue(job)
    only_authorized(garage, job, "12.00")
    assert garage.issue(job).net == D("254.10")
    assert broken() == []


def test_what_is_written_off_is_touched_by_no_other_act(garage: Garage, login: Login) -> None:
    client, job = login("counter"), with_sensor(garage)
    tap(client, job)
    line = Line.objects.get(finer=Finer.WRITE_OFF)
    page = text_of(client.get(f"/lines/{line.pk}/"))
    assert "It was not authorized, so it is not charged" in page
    with pytest.raises(Refused, match="undo it there"):
        change(garage, line, unit_price=D("-100.00"))
    with pytest.raises(Refused, match="undo it there"):
        remove_line(line=line, actor=garage.actor, clock=fixed(garage.now))
    with pytest.raises(Refused, match="undo it there"):
        garage.line(job.operations.get(), **charge("x", "-5.00", finer="write_off"))


def test_it_can_be_credited_like_any_other_line(garage: Garage, login: Login) -> None:
    client, job = login("counter"), with_sensor(garage)
    tap(client, job)
    invoice = garage.issue(job)
    garage.credit(invoice)
    assert garage.issue(job).gross == invoice.gross
    assert broken() == []


def test_it_is_offered_neither_for_another_method_nor_where_all_is_authorized(garage: Garage, login: Login) -> None:
    client, job = login("counter"), garage.done([labor(), part()])
    assert "Bill authorized only" not in draft_page(client, job)
    with pytest.raises(Refused, match="nothing is taken off"):
        only_authorized(garage, job, "1.00")
    fields = {"title": "Pads and rotors"}
    edit_operation(operation=job.operations.get(), fields=fields, actor=garage.actor, clock=fixed(garage.now))
    page = draft_page(client, job)
    assert "give it that title again" in page and "Bill authorized only" not in page
    with pytest.raises(Refused, match="give it that title again"):
        only_authorized(garage, job, "1.00")


def test_work_that_is_not_finished_is_not_written_off(garage: Garage, login: Login) -> None:
    job = garage.job([labor(), part()])
    garage.authorize(garage.estimate(job))
    change(garage, line_of(job), unit_price=D("90.00"))
    assert "Bill authorized only" not in draft_page(login("counter"), job)
    with pytest.raises(Refused, match="is not finished yet"):
        only_authorized(garage, job, "15.10")


def test_the_sheet_asks_nothing_any_more(garage: Garage, login: Login) -> None:
    client, job = login("counter"), garage.done([labor(), part()])
    garage.line(job.operations.get(), **part("Wear sensor", "12.00"))
    client.post(f"/jobs/{job.pk}/estimate/revise/")
    job.refresh_from_db()
    assert job.stage == "awaiting"  # nobody picks up the telephone
    tap(client, job)
    job.refresh_from_db()
    assert job.stage == "finished"
    assert not drafted(job).consent.asks
    assert garage.issue(job).net == D("254.10")
    assert broken() == []


def test_a_yes_after_it_is_a_yes_to_what_is_left(garage: Garage) -> None:
    job = garage.done([labor(), part()])
    garage.line(job.operations.get(), **part("Wear sensor", "12.00"))
    only_authorized(garage, job, "12.00")
    charge_it_again(job=job, actor=garage.actor, clock=fixed(garage.now))
    say(garage, job, job.operations.get(), YES, limit="266.10")
    assert garage.issue(job).net == D("266.10")
    assert broken() == []


def test_what_is_on_an_invoice_stays_written_off_while_the_job_waits_for_another(garage: Garage) -> None:
    job = garage.done([part()], [part("Wiper", "18.00")])
    first, second = job.operations.order_by("position")
    say(garage, job, second, BACK)
    garage.line(first, **part("Wear sensor", "12.00"))
    only_authorized(garage, job, "12.00")
    garage.issue(job, leaving_out=[second.pk])
    bill_left_out(job=job, actor=garage.actor, clock=fixed(garage.now))
    with pytest.raises(Refused, match="that could be charged again"):
        charge_it_again(job=job, actor=garage.actor, clock=fixed(garage.now))
    assert off(job) == {"parts": D("12.00")}
    assert broken() == []


def test_the_promise_finds_a_bill_that_nothing_was_taken_off(garage: Garage, monkeypatch: pytest.MonkeyPatch) -> None:
    sensor, exempt = with_sensor(garage), exempt_no_more(garage)
    monkeypatch.setattr("invoicing.drafts._excess", lambda *asked: ())  # a draft that forgets
    garage.issue(sensor)
    garage.issue(exempt)
    found = " ".join(broken())
    assert "Wear sensor added, $12.00" in found
    assert "the customer was exempt from tax then and is not now, $5.43 more" in found


# The owner's list


def test_the_owner_sees_what_was_given_up_by_whom_and_when(garage: Garage, login: Login) -> None:
    heading, job = "Not charged because not authorized", with_sensor(garage)
    assert heading not in text_of(login("owner").get("/"))
    tap(login("counter"), job)
    today = text_of(login("owner").get("/"))
    listed = today.partition(heading)[2].partition("</section>")[0]
    for said in (f'href="/jobs/{job.pk}/"', "Odile Marrant", str(garage.people["counter"]), "12.00"):
        assert said in listed
    assert heading not in text_of(login("counter").get("/"))
    garage.issue(job)
    assert heading in text_of(login("owner").get("/"))
    later = margin_for(garage.people["owner"], garage.now + dt.timedelta(days=31))
    assert not any(part.heading.startswith(heading) for part in later)


def test_what_was_charged_again_is_not_in_the_list(garage: Garage, login: Login) -> None:
    job = with_sensor(garage)
    only_authorized(garage, job, "12.00")
    charge_it_again(job=job, actor=garage.actor, clock=fixed(garage.now))
    assert "Not charged because not authorized" not in text_of(login("owner").get("/"))


def test_the_list_asks_no_more_for_more_jobs(garage: Garage, login: Login) -> None:
    client = login("owner")
    only_authorized(garage, with_sensor(garage), "12.00")
    one = len(queries_of(client, "/"))
    for _ in range(3):
        only_authorized(garage, with_sensor(garage), "12.00")
    assert len(queries_of(client, "/")) == one
