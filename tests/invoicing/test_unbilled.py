"""Work of which steps were skipped, and finished work that a bill leaves out: asked, named, confirmed, billed later.

What the counter is asked follows the house's own rule (common practice, no source): the law wants the work done
itemized on the invoice (Cal. Bus. & Prof. Code 9884.8), not the work planned.
"""

import datetime as dt
import uuid
from dataclasses import dataclass
from decimal import Decimal
from functools import partial
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from garage import promises
from garage.clock import fixed
from garage.errors import Refused
from garage.models import AuditEntry
from invoicing.actions import authorizations
from invoicing.actions.left_out import bill_left_out, leave_it
from invoicing.models import Authorization, Invoice, InvoiceOperation
from jobs.actions.intake import Odometer
from jobs.actions.removing import remove_operation
from jobs.actions.skipped import answer_skipped
from jobs.actions.stages import cancel_job
from jobs.actions.writing_up import edit_operation, save_line
from jobs.models import Job, Line, Operation, SkippedAnswer
from tests.invoicing.cast import Garage, broken, labor, part
from tests.invoicing.consent_cast import BACK, YES, again, change, say, take_off
from tests.jobs.bay_cast import Bay, in_bay, look_and_finish

D = Decimal


@dataclass
class InPart:
    """A fluid change whose look at the fluid was skipped, finished and not billed."""

    garage: Garage
    bay: Bay

    @property
    def job(self) -> Job:
        return Job.objects.get(pk=self.bay.job.pk)

    def say(self, choice: str, words: str = "Looked at through the fill hole instead.", **more: Any) -> SkippedAnswer:
        return answer_skipped(
            operation=self.bay.operation,
            choice=choice,
            words=words,
            actor=self.garage.actor,
            clock=fixed(self.garage.now),
            **more,
        )


@pytest.fixture
def half(garage: Garage, people, now: dt.datetime) -> InPart:
    bay = in_bay(people, now)
    yes_again(garage, bay.job)
    bay.do(1)
    bay.do(2, reading="0.82")
    bay.do(3, "skip", reason="poured away")
    bay.do(4, reading="13")
    bay.do(5)
    bay.do(6, reading="0.85")
    bay.do(7, reading="13")
    look_and_finish(job=bay.job, odometer_out=Odometer(88412, "mi"), actor=bay.technician, clock=fixed(now))
    return InPart(garage, bay)


def yes_again(garage: Garage, job: Job) -> None:
    """The customer says yes to everything the sheet offers now, and to the revised total."""
    estimate = garage.estimate(job)
    garage.authorize(estimate, limit=estimate.net)


def page(login: Any, address: str, pk: int) -> str:
    content: str = login("counter").get(reverse(address, args=[pk])).content.decode()
    return content


# Skipped steps


def test_work_with_a_skipped_step_is_not_billed_before_somebody_says_what_was_done(half: InPart) -> None:
    with pytest.raises(Refused, match="steps of it were skipped. Write what was done"):
        half.garage.issue(half.job)
    assert not Invoice.objects.exists()


def test_the_draft_asks_with_nothing_chosen_and_the_invoice_says_what_was_done(half: InPart, login) -> None:
    client, address = login("counter"), reverse("invoicing:skipped", args=[half.bay.operation.pk])
    draft = client.get(reverse("invoicing:invoice-make", args=[half.job.pk])).content.decode()
    assert "Look at the drained fluid <small>poured away</small>" in draft
    assert "checked" not in draft
    assert "Issue invoice" not in draft
    seen = draft.partition('name="seen" value="')[2].partition('"')[0]
    wrong = client.post(address, {"seen": seen, "words": "Seen at the plug."})
    assert wrong.status_code == 422
    assert "Choose how it is billed." in wrong.content.decode()
    assert "Seen at the plug." in wrong.content.decode()
    empty = client.post(address, {"seen": seen, "choice": "done", "words": " "})
    assert "Write what was done instead, or why." in empty.content.decode()
    right = client.post(address, {"seen": seen, "choice": "done", "words": "Seen at the plug."}, follow=True)
    assert "Issue invoice" in right.content.decode()
    half.garage.issue(half.job)
    row = InvoiceOperation.objects.get()
    assert row.correction == "Not done: “Look at the drained fluid” (poured away). Seen at the plug."
    assert "Seen at the plug." in page(login, "jobs:sheet", half.job.pk)


def test_the_answer_is_asked_again_when_a_step_changes_after_it(half: InPart) -> None:
    half.say("done")
    Job.objects.filter(pk=half.job.pk).update(stage="in_bay")
    half.bay.do(3, "untick", reason="found the pan")
    half.bay.do(3, "skip", reason="the pan was rinsed")
    look_and_finish(
        job=half.job, odometer_out=Odometer(88412, "mi"), actor=half.bay.technician, clock=fixed(half.garage.now)
    )
    with pytest.raises(Refused, match="steps of it were skipped"):
        half.garage.issue(half.job)
    with pytest.raises(Refused, match="changed meanwhile"):
        half.say("done", seen="0" * 64)


def test_bill_less_leads_to_the_sheet_and_waits_until_something_is_lowered(half: InPart, login) -> None:
    client, address = login("counter"), reverse("invoicing:skipped", args=[half.bay.operation.pk])
    answer = client.post(address, {"choice": "less", "words": "Half an hour less."})
    assert answer["Location"] == f"{reverse('jobs:sheet', args=[half.job.pk])}#op-{half.bay.operation.pk}"
    with pytest.raises(Refused, match="is to be billed less: lower its hours"):
        half.garage.issue(half.job)
    hours = Line.objects.get(operation=half.bay.operation, kind="labor")
    save_line(
        operation=half.bay.operation,
        line=hours,
        fields={"quantity": D("0.7"), "typed": ""},
        actor=half.garage.actor,
        clock=fixed(half.garage.now),
    )
    yes_again(half.garage, half.job)
    invoice = half.garage.issue(half.job)
    assert invoice.operations.get().lines.get(kind="labor").quantity == D("0.7")


def test_what_is_not_to_be_billed_is_left_out_and_named(half: InPart) -> None:
    other = half.garage.done([labor()], customer=half.job.customer)
    assert other.pk != half.job.pk
    half.say("none", "It is on us.")
    with pytest.raises(Refused, match="nothing to bill"):
        half.garage.issue(half.job)


def test_the_same_answer_twice_is_one_and_work_without_a_skipped_step_is_not_asked(half: InPart) -> None:
    assert half.say("done").pk == half.say("done").pk
    job = half.garage.done([labor()])
    with pytest.raises(Refused, match="nothing is asked"):
        answer_skipped(
            operation=job.operations.get(),
            choice="done",
            words="x",
            actor=half.garage.actor,
            clock=fixed(half.garage.now),
        )


# Finished work that a bill leaves out


@dataclass
class Two:
    """A job with two operations, done and finished; then the customer wants nothing of the second any more."""

    garage: Garage
    job: Job

    @property
    def first(self) -> Operation:
        return self.job.operations.get(position=1)

    @property
    def second(self) -> Operation:
        return self.job.operations.get(position=2)


@pytest.fixture
def two_today(garage: Garage) -> Two:
    """The same by the real clock, which the pages read."""
    garage.now = timezone.now()
    return two_operations(garage)


@pytest.fixture
def two(garage: Garage) -> Two:
    return two_operations(garage)


def two_operations(garage: Garage) -> Two:
    job = garage.done([labor("1.4")], [part("Pad set", "74.90")])
    two = Two(garage, job)
    say(garage, job, two.second, BACK)
    return two


def wanted_after_all(two: Two) -> None:
    """The customer calls back: what they no longer wanted is offered again, and they say yes to it."""
    again(two.garage, two.second)
    yes_again(two.garage, two.job)


def issued(two: Two, *left_out: Operation) -> Invoice:
    return two.garage.issue(two.job, leaving_out=[row.pk for row in left_out])


def test_finished_work_is_not_left_off_a_bill_without_a_word(two: Two) -> None:
    with pytest.raises(Refused, match="“Operation 2” is finished and would not be billed: confirm") as refused:
        issued(two)
    assert refused.value.field == f"leave_{two.second.pk}"
    invoice = issued(two, two.second)
    assert (invoice.net, [row.title for row in invoice.operations.all()]) == (D("179.20"), ["Operation 1"])
    entry = AuditEntry.objects.filter(verb="issued").latest("pk")
    assert "Operation 2" in entry.personal["left_out"][0]


def test_the_draft_names_it_with_a_tick_of_its_own_that_is_not_set(two_today: Two, login) -> None:
    two = two_today
    client, address = login("counter"), reverse("invoicing:invoice-make", args=[two.job.pk])
    draft = client.get(address).content.decode()
    assert "“Operation 2” is finished and not on this invoice, $74.90 before tax" in draft
    assert " checked" not in draft
    sent = {"key": str(uuid.uuid4()), "due_on": "2090-01-01", "mail_to": ""}
    refused = client.post(address, sent)
    assert refused.status_code == 422
    assert "confirm that, or have it authorized first" in refused.content.decode()
    assert not Invoice.objects.exists()
    assert client.post(address, {**sent, f"leave_{two.second.pk}": "on"}).status_code == 303
    assert Invoice.objects.get().net == D("179.20")


def test_what_was_left_out_is_billed_later_while_the_first_invoice_stands(two: Two, login) -> None:
    first = issued(two, two.second)
    client = login("counter")
    for address, pk in (("invoicing:invoice", first.pk), ("jobs:sheet", two.job.pk)):
        assert "Bill remaining work" in page(login, address, pk)
    client.post(reverse("invoicing:bill-left-out", args=[two.job.pk]))
    wanted_after_all(two)
    draft = page(login, "invoicing:invoice-make", two.job.pk)
    assert first.label in draft
    assert "179.20" in draft
    second = issued(two)
    assert [row.operation_id for row in second.operations.all()] == [two.second.pk]
    assert (second.net, second.receivable.balance) == (D("74.90"), second.gross)
    two.job.refresh_from_db()
    assert two.job.stage == "invoiced"
    assert "Bill remaining work" not in page(login, "invoicing:invoice", first.pk)
    with pytest.raises(Refused, match="has an invoice already"):
        issued(two)
    assert broken() == []


def test_the_job_closes_when_both_are_paid(two: Two) -> None:
    first = issued(two, two.second)
    two.garage.pay(first, str(first.gross))
    two.job.refresh_from_db()
    assert two.job.stage == "closed"
    bill_left_out(job=two.job, actor=two.garage.actor, clock=fixed(two.garage.now))
    wanted_after_all(two)
    second = issued(two)
    two.job.refresh_from_db()
    assert two.job.stage == "invoiced"
    two.garage.pay(second, str(second.gross))
    two.job.refresh_from_db()
    assert two.job.stage == "closed"


def test_both_bills_together_stay_within_what_was_authorized(two: Two) -> None:
    first = issued(two, two.second)
    bill_left_out(job=two.job, actor=two.garage.actor, clock=fixed(two.garage.now))
    wanted_after_all(two)
    assert issued(two).net + first.net == D("254.10")
    assert broken() == []


def test_crediting_the_first_leaves_the_second_standing(two: Two) -> None:
    first = issued(two, two.second)
    bill_left_out(job=two.job, actor=two.garage.actor, clock=fixed(two.garage.now))
    wanted_after_all(two)
    issued(two)
    two.garage.credit(first)
    again = issued(two)
    assert [row.operation_id for row in again.operations.all()] == [two.first.pk]
    assert broken() == []


def test_what_is_billed_is_not_changed_while_the_job_waits_for_another_invoice(garage: Garage) -> None:
    fluid = garage.fluid()
    job = garage.done([garage.poured(fluid, "0.85")], [part("Pad set", "74.90")])
    two = Two(garage, job)
    say(garage, job, two.second, BACK)
    first = issued(two, two.second)
    bill_left_out(job=job, actor=garage.actor, clock=fixed(garage.now))
    line = two.first.lines.get()
    billed = f"“Operation 1” is billed on invoice {first.label}"
    with pytest.raises(Refused, match=billed):
        garage.bring_back(line, "0.5")
    with pytest.raises(Refused, match=billed):
        change(garage, line, unit_price=D("10.00"))
    with pytest.raises(Refused, match=billed):
        garage.line(two.first, **labor())
    with pytest.raises(Refused, match=billed):
        take_off(garage, line)
    again(garage, two.second)
    garage.line(two.second, **part("Sensor", "12.00"))
    garage.estimate(job)
    with pytest.raises(Refused, match=f"Invoice {first.label} of {job} is issued: issue its credit memo first"):
        cancel_job(job=job, reason="sold", actor=garage.actor, clock=fixed(garage.now))
    assert broken() == []


def test_the_slack_is_there_once_over_the_bills_of_a_job(garage: Garage, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(authorizations, "Authorization", partial(Authorization, slack=D("20.00")))
    fluid = garage.fluid()
    job = garage.job([garage.poured(fluid, "0.85")], [part("Pad set", "74.90")])
    two = Two(garage, job)
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    garage.draw(two.first.lines.get(), "1")  # 9.18 above what was authorized
    garage.finish(job)
    say(garage, job, two.second, BACK)
    assert issued(two, two.second).net == D("61.20")
    bill_left_out(job=job, actor=garage.actor, clock=fixed(garage.now))
    again(garage, two.second)
    say(garage, job, two.second, YES, limit="126.92")
    change(garage, two.second.lines.get(), unit_price=D("85.73"))  # 10.83 above: a cent more than is left of the slack
    with pytest.raises(Refused, match=r"“Operation 2” comes to \$10.83 more"):
        issued(two)
    change(garage, two.second.lines.get(), unit_price=D("85.72"))
    assert issued(two).net == D("85.72")
    assert broken() == []


def test_it_can_be_left_unbilled_after_all(two: Two, login) -> None:
    first = issued(two, two.second)
    client = login("counter")
    client.post(reverse("invoicing:bill-left-out", args=[two.job.pk]))
    assert "Leave unbilled" in page(login, "invoicing:invoice-make", two.job.pk)
    client.post(reverse("invoicing:leave-it", args=[two.job.pk]))
    two.job.refresh_from_db()
    assert two.job.stage == "invoiced"
    two.garage.pay(first, str(first.gross))
    with pytest.raises(Refused, match="no other invoice"):
        leave_it(job=two.job, actor=two.garage.actor, clock=fixed(two.garage.now))


def test_nothing_is_offered_where_nothing_was_left_out(garage: Garage, login) -> None:
    invoice = garage.issue(job := garage.done([labor()]))
    assert "Bill remaining work" not in page(login, "invoicing:invoice", invoice.pk)
    with pytest.raises(Refused, match="Everything that was finished"):
        bill_left_out(job=job, actor=garage.actor, clock=fixed(garage.now))


def test_what_was_said_to_be_not_billed_can_be_billed_later(half: InPart) -> None:
    garage, job = half.garage, half.job
    Job.objects.filter(pk=job.pk).update(stage="in_bay")
    wiper = garage.operation(job, "Rear wiper", part("Wiper", "18.00"))
    yes_again(garage, job)
    edit_operation(operation=wiper, fields={"correction": "New blade."}, actor=garage.actor, clock=fixed(garage.now))
    look_and_finish(job=half.job, odometer_out=Odometer(88412, "mi"), actor=None, clock=fixed(garage.now))
    half.say("none", "It is on us.")
    with pytest.raises(Refused, match="confirm that"):
        garage.issue(half.job)
    assert garage.issue(half.job, leaving_out=[half.bay.operation.pk]).net == D("18.00")
    bill_left_out(job=half.job, actor=garage.actor, clock=fixed(garage.now))
    half.say("done", "Agreed with the customer after all.")
    later = garage.issue(half.job)
    assert [row.operation_id for row in later.operations.all()] == [half.bay.operation.pk]
    assert broken() == []


def test_finished_work_does_not_leave_the_bill_by_being_removed(two: Two) -> None:
    with pytest.raises(Refused, match="has begun"):
        remove_operation(operation=two.first, actor=two.garage.actor, clock=fixed(two.garage.now))


def test_the_promise_finds_work_that_stands_on_two_invoices(two: Two, monkeypatch: pytest.MonkeyPatch) -> None:
    issued(two, two.second)
    bill_left_out(job=two.job, actor=two.garage.actor, clock=fixed(two.garage.now))
    wanted_after_all(two)
    monkeypatch.setattr("invoicing.queries.standing_invoices", lambda job: [])  # a draft that forgets
    second = issued(two)
    found = list(dict(promises.run())["no work of a job stands on two invoices"])
    assert found == [f"{second}: “Operation 1” stands on invoice 2026-0001 already"]
