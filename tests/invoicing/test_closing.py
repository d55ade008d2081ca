"""A finished job with nothing to bill comes to its end: closed without an invoice, with the reason, and reopened."""

from itertools import product
from typing import Any

import pytest
from django.urls import reverse

from garage.clock import fixed
from garage.errors import Refused
from garage.models import AuditEntry
from invoicing.accounts import on_job
from invoicing.actions.closing import close_without_invoice, reopen_closed
from invoicing.actions.left_out import bill_left_out
from jobs.actions.intake import Odometer
from jobs.actions.skipped import answer_skipped
from jobs.models import Job
from tests.invoicing.cast import D, Garage, broken, labor, part
from tests.invoicing.consent_cast import BACK, YES, again, say
from tests.invoicing.random_book import rows_of
from tests.invoicing.raw_rows import Book
from tests.invoicing.recomputed import recomputed
from tests.jobs.bay_cast import UNGUARDED, in_bay, look_and_finish

pytestmark = pytest.mark.usefixtures("real_clock")


def withdrawn(garage: Garage, *operations: list[dict[str, Any]]) -> Job:
    """A finished job of which its customer wants nothing any more."""
    job = garage.done(*operations)
    estimate = garage.estimate(job)
    garage.authorize(estimate, decisions={row.pk: BACK for row in job.operations.all()})
    job.refresh_from_db()
    assert job.stage == "finished"
    return job


def close(garage: Garage, job: Job, reason: str = "A comeback, on us.") -> Job:
    return close_without_invoice(job=job, reason=reason, actor=garage.actor, clock=fixed(garage.now))


def html(answer: Any) -> str:
    content: str = answer.content.decode()
    return content


def test_a_job_of_which_nothing_is_wanted_is_closed_with_its_reason_and_reopened(garage: Garage, login) -> None:
    job, client = withdrawn(garage, [labor()]), login("counter")
    sheet, address = reverse("jobs:sheet", args=[job.pk]), reverse("invoicing:close-without-invoice", args=[job.pk])
    for page in (sheet, reverse("invoicing:invoice-make", args=[job.pk])):
        assert f'href="{address}"' in html(client.get(page))
    shown = html(client.get(address))
    assert "Operation 1, $179.20: the customer no longer wants it" in shown
    refused = client.post(address, {"reason": " "})
    assert (refused.status_code, "Write why nothing is billed." in html(refused)) == (422, True)
    said = {"reason": "A comeback, on us."}
    closed = html(client.post(address, said, follow=True))
    assert "is closed without an invoice." in closed
    assert ": A comeback, on us." in closed
    assert client.post(address, said).status_code == 303, "a second tap"
    entry = AuditEntry.objects.get(verb="closed without an invoice")
    assert entry.personal["reason"] == "A comeback, on us."
    assert "Operation 1" in entry.personal["left_out"][0]
    assert "Reopen job" in html(client.get(sheet))
    assert broken() == []
    client.post(reverse("invoicing:reopen-closed", args=[job.pk]))
    job.refresh_from_db()
    assert (job.stage, job.waits_for) == ("finished", "")
    again(garage, job.operations.get())
    say(garage, job, job.operations.get(), YES)
    assert garage.issue(job).net == D("179.20")
    assert broken() == []


def test_who_may_not_bill_neither_closes_nor_reopens(garage: Garage, login) -> None:
    job = withdrawn(garage, [labor()])
    for role, name in product(("technician", "reader"), ("close-without-invoice", "reopen-closed")):
        assert login(role).post(reverse(f"invoicing:{name}", args=[job.pk]), {"reason": "x"}).status_code == 403


def test_what_can_be_billed_is_not_closed_away(garage: Garage, login) -> None:
    job, client = garage.done([labor()], [part()]), login("counter")
    with pytest.raises(Refused, match=r"“Operation 1” was authorized and done: make its invoice, \$179.20 before tax"):
        close(garage, job)
    address = reverse("invoicing:close-without-invoice", args=[job.pk])
    assert 'name="reason"' not in html(client.get(address))
    for page in ("jobs:sheet", "invoicing:invoice-make"):
        assert f'href="{address}"' not in html(client.get(reverse(page, args=[job.pk])))
    refused = client.post(address, {"reason": "lost the keys"})
    assert (refused.status_code, "lost the keys" in html(refused)) == (422, True)
    garage.operation(job, "Wiper", part("Wiper", "18.00"))
    first, second = job.operations.order_by("position")[:2]
    garage.authorize(garage.estimate(job), decisions={first.pk: BACK, second.pk: BACK})
    Job.objects.filter(pk=job.pk).update(stage="finished")
    with pytest.raises(Refused, match="“Wiper” is not decided on: ask the customer first"):
        close(garage, job)


def test_a_job_in_the_bay_and_one_that_is_invoiced_are_not_closed_so(garage: Garage) -> None:
    job = garage.job([labor()])
    with pytest.raises(Refused, match="only a finished job is closed without an invoice"):
        close(garage, job)
    job = garage.done([labor()], [part()])
    second = job.operations.get(position=2)
    say(garage, job, second, BACK)
    invoice = garage.issue(job, leaving_out=[second.pk])
    with pytest.raises(Refused, match="is invoiced: only a finished job"):
        close(garage, job)
    with pytest.raises(Refused, match="only a job closed without an invoice is reopened"):
        reopen_closed(job=job, actor=garage.actor, clock=fixed(garage.now))
    bill_left_out(job=job, actor=garage.actor, clock=fixed(garage.now))
    with pytest.raises(Refused, match=f"Invoice {invoice.label} of {job} is issued: leave what it left out"):
        close(garage, job)


def test_a_deposit_is_refunded_or_kept_as_credit_first(garage: Garage, login) -> None:
    job, client = withdrawn(garage, [labor()]), login("counter")
    garage.deposit(job, "50.00")
    with pytest.raises(Refused, match=r"A deposit of \$50.00 stands on .* refund it or keep it as credit first"):
        close(garage, job)
    shown = html(client.get(reverse("invoicing:close-without-invoice", args=[job.pk])))
    for act in ("deposit-refund", "deposit-keep"):
        assert reverse(f"invoicing:{act}", args=[job.pk]) in shown
    garage.refund(on_job(job), "50.00")
    assert close(garage, job).stage == "closed"
    assert broken() == []


def test_a_job_with_nothing_on_it_any_more_is_closed_too(garage: Garage, login) -> None:
    job, client = withdrawn(garage, [labor()]), login("counter")
    job.operations.all().delete()
    address = reverse("invoicing:close-without-invoice", args=[job.pk])
    sheet = reverse("jobs:sheet", args=[job.pk])
    assert f'href="{address}"' in html(client.get(sheet))
    client.post(address, {"reason": "written by mistake"})
    assert "Reopen job" in html(client.get(sheet))


def test_a_visit_whose_every_step_was_skipped_is_no_dead_end(garage: Garage, people, login) -> None:
    """Whether it was said that it is not billed, or nothing was said yet."""
    bay = in_bay(people, garage.now, UNGUARDED)
    estimate = garage.estimate(bay.job)
    garage.authorize(estimate, limit=estimate.net)
    for step in range(1, 8):
        bay.do(step, "skip", reason="the customer came early")
    look_and_finish(job=bay.job, odometer_out=Odometer(88412, "mi"), actor=bay.technician, clock=fixed(garage.now))
    page = reverse("invoicing:invoice-make", args=[bay.job.pk])
    assert "Close without invoice" in html(login("counter").get(page))
    who: dict[str, Any] = {"actor": garage.actor, "clock": fixed(garage.now)}
    answer_skipped(operation=bay.operation, choice="none", words="It is on us.", **who)
    assert "Close without invoice" in html(login("counter").get(page))
    assert close(garage, bay.job).stage == "closed"
    reopen_closed(job=bay.job, **who)
    answer_skipped(operation=bay.operation, choice="done", words="All done on the other ramp.", **who)
    with pytest.raises(Refused, match="was authorized and done: make its invoice"):
        close(garage, bay.job)
    assert broken() == []


#: What may have become of an operation: hours that are billed, or no longer wanted; fluid that was never drawn, or
#: poured, billed, and credited by a slip for good.
FATES = ("billed", "withdrawn", "not drawn", "credited")
PAIRS = list(product(FATES, repeat=2))


def finished(garage: Garage, fates: tuple[str, str]) -> tuple[Job, list[int]]:
    """A finished job with an operation of each fate, and the keys of those that nobody wants any more."""
    fluid = garage.fluid()
    lines = {"billed": labor(), "withdrawn": labor()}
    job = garage.job(*([lines.get(fate) or garage.poured(fluid, "0.5")] for fate in fates))
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    rows = dict(zip(job.operations.order_by("position"), fates, strict=True))
    for row in (row for row, fate in rows.items() if fate == "credited"):
        garage.draw(row.lines.get(), "0.5")
    garage.finish(job)
    gone = [row.pk for row, fate in rows.items() if fate == "withdrawn"]
    if gone:
        garage.authorize(garage.estimate(job), decisions=dict.fromkeys(gone, BACK))
    if "credited" in fates:
        garage.credit(garage.issue(job, leaving_out=gone), bill_again=False)
        bill_left_out(job=job, actor=garage.actor, clock=fixed(garage.now))
    return job, gone


@pytest.mark.parametrize("fates", PAIRS, ids="-".join)
def test_every_finished_job_is_either_invoiced_or_closed_and_never_both(garage: Garage, fates: tuple[str, str]) -> None:
    """The law: no finished job, whatever became of its work, is a dead end."""
    job, gone = finished(garage, fates)
    if {"billed", "credited"} & set(fates):
        with pytest.raises(Refused, match="was authorized and done"):
            close(garage, job)
        garage.issue(job, leaving_out=gone)
    else:
        with pytest.raises(Refused, match="nothing to bill"):
            garage.issue(job, leaving_out=gone)
        close(garage, job)
        assert reopen_closed(job=job, actor=garage.actor, clock=fixed(garage.now)).stage == "finished"
        close(garage, job)
    assert broken() == []
    assert list(recomputed(Book(rows_of))) == []
