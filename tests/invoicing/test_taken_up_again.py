"""Work whose invoice was credited, and not to be billed again: by a slip of a tick it is not lost, it is taken up."""

from typing import Any

import pytest
from django.urls import reverse

from garage.clock import fixed
from garage.errors import Refused
from garage.models import AuditEntry
from invoicing.accounts import on_job
from invoicing.actions.left_out import bill_left_out, leave_it
from invoicing.models import Invoice, InvoiceLine
from jobs.actions.writing_up import save_line
from jobs.models import Job
from tests.invoicing.cast import D, Garage, broken, labor, part
from tests.invoicing.consent_cast import BACK, YES, again, say
from tests.invoicing.counter_sales import pieces, sold, wiper_blade

pytestmark = pytest.mark.usefixtures("real_clock")


def credited(garage: Garage, *operations: list[dict[str, Any]]) -> Job:
    """A job that was billed and credited whole, with the tick for another invoice taken off."""
    job = garage.done(*operations)
    garage.credit(garage.issue(job), bill_again=False)
    job.refresh_from_db()
    assert job.stage == "closed"
    return job


def page(client: Any, address: str, pk: int) -> str:
    content: str = client.get(reverse(address, args=[pk])).content.decode()
    return content


@pytest.mark.parametrize("where", ["jobs:sheet", "invoicing:invoice"])
def test_a_closed_job_without_a_standing_invoice_is_taken_up_billed_or_left_again(
    garage: Garage, login, where: str
) -> None:
    job, client = credited(garage, [labor()]), login("counter")
    shown = page(client, where, job.pk if where == "jobs:sheet" else Invoice.objects.get(kind="invoice").pk)
    assert "Bill remaining work" in shown
    assert "ts invoice was credited" in shown
    answer = client.post(reverse("invoicing:bill-left-out", args=[job.pk]), follow=True)
    assert "Leave unbilled" in answer.content.decode()
    assert AuditEntry.objects.filter(verb="moved").latest("pk").details["stage"] == "finished"
    client.post(reverse("invoicing:leave-it", args=[job.pk]))
    job.refresh_from_db()
    assert job.stage == "closed"
    for _double_tap in range(2):
        answer = client.post(reverse("invoicing:bill-left-out", args=[job.pk]), follow=True)
        assert "is billed" not in answer.content.decode()
    again = garage.issue(job)
    assert again.net == D("179.20")
    assert "Bill remaining work" not in page(client, "jobs:sheet", job.pk)
    assert broken() == []


def test_who_may_not_bill_may_not_take_it_up(garage: Garage, login) -> None:
    job = credited(garage, [labor()])
    for role in ("technician", "reader"):
        assert login(role).post(reverse("invoicing:bill-left-out", args=[job.pk])).status_code == 403


def test_what_did_not_come_back_is_paid_for_once_over_all_papers(garage: Garage) -> None:
    """The credit left the cost of what is out with the first invoice: the second bears none of it."""
    job = credited(garage, [garage.poured(garage.fluid(), "0.85")])
    bill_left_out(job=job, actor=garage.actor, clock=fixed(garage.now))
    garage.issue(job)
    assert sum(row.cost for row in InvoiceLine.objects.all()) == D("30.60")
    assert broken() == []


def test_one_of_two_invoices_credited_for_good_is_billed_again_at_its_cost_once(garage: Garage) -> None:
    job = garage.done([garage.poured(garage.fluid(), "0.85")], [labor()])
    first, second = job.operations.order_by("position")
    say(garage, job, second, BACK)
    invoice = garage.issue(job, leaving_out=[second.pk])
    bill_left_out(job=job, actor=garage.actor, clock=fixed(garage.now))
    again(garage, second)
    say(garage, job, second, YES, limit="231.22")
    garage.issue(job)
    garage.credit(invoice, bill_again=False)
    bill_left_out(job=job, actor=garage.actor, clock=fixed(garage.now))
    assert [row.operation_id for row in garage.issue(job).operations.all()] == [first.pk]
    assert broken() == []


def test_what_is_out_stays_out_until_it_is_billed_and_its_price_may_change(garage: Garage) -> None:
    job = credited(garage, [garage.poured(garage.fluid(), "0.85")])
    bill_left_out(job=job, actor=garage.actor, clock=fixed(garage.now))
    operation = job.operations.get()
    line = operation.lines.get()
    with pytest.raises(Refused, match="“Operation 1” was credited, and what was used for it did not come back"):
        garage.bring_back(line, "0.5")
    save_line(operation=operation, line=line, fields={"unit_price": D(50)}, actor=garage.actor, clock=fixed(garage.now))
    invoice = garage.issue(job)
    assert invoice.net == D("42.50")
    garage.credit(invoice, returns={InvoiceLine.objects.latest("pk").pk: D("0.85")})
    assert sum(row.cost for row in InvoiceLine.objects.all()) == 0
    assert broken() == []


def test_a_credit_for_another_invoice_can_be_left_unbilled_too(garage: Garage) -> None:
    job = garage.done([labor()])
    with pytest.raises(Refused, match="no other invoice of it was issued"):
        leave_it(job=job, actor=garage.actor, clock=fixed(garage.now))
    garage.credit(garage.issue(job))
    deposit = garage.deposit(job, "20.00")
    with pytest.raises(Refused, match=r"A deposit of \$20.00 stands on"):
        leave_it(job=job, actor=garage.actor, clock=fixed(garage.now))
    garage.refund(on_job(job), str(deposit.amount))
    assert leave_it(job=job, actor=garage.actor, clock=fixed(garage.now)).stage == "closed"
    assert broken() == []


def test_a_sale_that_was_credited_is_not_offered_for_another_bill(garage: Garage, login) -> None:
    """What comes back over the counter is sold anew."""
    sale = sold(garage, pieces(wiper_blade(garage)))
    garage.credit(sale)
    client = login("counter")
    assert "Bill remaining work" not in page(client, "invoicing:invoice", sale.pk)
    assert sale.job is not None
    assert "Reopen job" not in page(client, "jobs:sheet", sale.job.pk)
    assert "is over: what is returned over the counter is sold again" in page(
        client, "invoicing:invoice-make", sale.job.pk
    )
    client.post(reverse("invoicing:reopen-closed", args=[sale.job.pk]))
    sale.job.refresh_from_db()
    assert sale.job.stage == "closed"


def test_a_job_that_waits_for_its_invoice_offers_nothing_twice(garage: Garage, login) -> None:
    job = garage.done([labor()], [part()])
    invoice = garage.issue(job)
    garage.credit(invoice)
    assert "Bill remaining work" not in page(login("counter"), "invoicing:invoice", invoice.pk)
