"""Work that ended as not done: never billed in silence, named on the papers, and no key without the customer's word."""

from typing import Any

import pytest
from django.urls import reverse

from garage.clock import fixed
from garage.errors import Refused
from invoicing import papers
from invoicing.models import InvoiceOperation
from jobs.actions.intake import Odometer
from jobs.actions.not_done import take_car
from jobs.actions.skipped import answer_skipped
from jobs.actions.writing_up import add_operation
from jobs.models import DueService, Job
from tests.invoicing.cast import Garage, broken, labor
from tests.invoicing.test_closing import close, html
from tests.invoicing.test_papers import read_out
from tests.invoicing.test_unbilled import yes_again
from tests.jobs.bay_cast import Bay, in_bay, look_and_finish

WORDS = "I know, I take it home."


def ended(garage: Garage, people: Any, *, started: bool, other: bool = True) -> Bay:
    """A fluid change that ended as not done, before or after the draining; beside it another work, done."""
    bay = in_bay(people, garage.now)
    if other:
        garage.operation(bay.job, "Rear wiper", labor("0.5"))
    yes_again(garage, bay.job)
    if started:
        bay.do(1)
        bay.do(2, reading="0.82")
    bay.do(4, "cannot", reason="the threads are stripped")
    if other:
        free = bay.job.operations.get(title="Rear wiper")
        free.correction = "New blade."
        free.save(update_fields=["correction"])
    look_and_finish(job=bay.job, odometer_out=Odometer(88412, "mi"), actor=bay.technician, clock=fixed(garage.now))
    return bay


def take(garage: Garage, job: Job) -> None:
    take_car(
        job=job, who="Odile Marrant", how="phone", said_at=garage.now, words=WORDS, actor=garage.actor,
        clock=fixed(garage.now),
    )  # fmt: skip


def test_no_invoice_is_issued_without_the_customers_word_and_then_it_names_what_was_not_done(
    garage: Garage, people, login
) -> None:
    bay = ended(garage, people, started=False)
    draft = html(login("counter").get(reverse("invoicing:invoice-make", args=[bay.job.pk])))
    assert "“Transfer case fluid, change” was authorized, but it ended as not done: it is not billed" in draft
    assert "record the customer’s word that they take the car as it is" in draft
    with pytest.raises(Refused, match="record the customer’s word"):
        garage.issue(bay.job)
    take(garage, bay.job)
    invoice = garage.issue(bay.job)
    assert [row.title for row in InvoiceOperation.objects.all()] == ["Rear wiper"]
    printed = read_out(papers.invoice_paper(invoice.pk))
    for words in (
        "Not done",
        "Transfer case fluid, change. Not done: the threads are stripped",
        "Odile Marrant, by phone",
    ):
        assert words in printed
    assert WORDS in printed
    assert "to be done before driving" in printed
    assert not DueService.objects.exists()
    assert broken() == []


def test_what_was_done_of_it_is_billed_only_when_the_counter_says_how(garage: Garage, people, login) -> None:
    bay = ended(garage, people, started=True)
    take(garage, bay.job)
    with pytest.raises(Refused, match="it ended as not done. Write what was done, and how it is billed"):
        garage.issue(bay.job)
    page = html(login("counter").get(reverse("invoicing:invoice-make", args=[bay.job.pk])))
    assert "<b>Not done</b>the threads are stripped" in page
    who: dict[str, Any] = {"actor": garage.actor, "clock": fixed(garage.now)}
    answer_skipped(operation=bay.operation, choice="done", words="Drained and closed again.", **who)
    garage.issue(bay.job)
    row = InvoiceOperation.objects.get(title="Transfer case fluid, change")
    assert row.correction.endswith(
        "Not done: the threads are stripped (step 4, “Tighten the drain plug”). Drained and closed again."
    )
    assert broken() == []


def test_what_nobody_bills_is_left_off_when_the_counter_says_so(garage: Garage, people) -> None:
    bay = ended(garage, people, started=True)
    take(garage, bay.job)
    who: dict[str, Any] = {"actor": garage.actor, "clock": fixed(garage.now)}
    answer_skipped(operation=bay.operation, choice="none", words="It is on us.", **who)
    garage.issue(bay.job)
    assert [row.title for row in InvoiceOperation.objects.all()] == ["Rear wiper"]
    assert broken() == []


def test_a_job_of_which_nothing_was_done_is_closed_only_with_the_customers_word(garage: Garage, people) -> None:
    bay = ended(garage, people, started=False, other=False)
    with pytest.raises(Refused, match="record the customer’s word"):
        close(garage, bay.job)
    take(garage, bay.job)
    assert close(garage, bay.job).stage == "closed"
    assert broken() == []


def test_what_another_work_on_the_job_put_right_asks_for_no_word(garage: Garage, people) -> None:
    bay = in_bay(people, garage.now)
    bay.do(1, "cannot", reason="the threads are stripped")
    who: dict[str, Any] = {"actor": garage.actor, "clock": fixed(garage.now)}
    bay.operation.refresh_from_db()
    assert bay.operation.not_done is not None
    insert = add_operation(job=bay.job, title="Thread insert", advisory=bay.operation.not_done.advisory, **who)
    garage.line(insert, **labor("0.5"))
    yes_again(garage, bay.job)
    insert.correction = "Insert set, plug torqued, filled."
    insert.save(update_fields=["correction"])
    Job.objects.filter(pk=bay.job.pk).update(stage="in_bay")
    look_and_finish(job=bay.job, odometer_out=Odometer(88412, "mi"), **who)
    garage.issue(bay.job)
    assert [row.title for row in InvoiceOperation.objects.all()] == ["Thread insert"]
