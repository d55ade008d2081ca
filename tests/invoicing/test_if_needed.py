"""“If needed, up to …”: printed, read out and authorized with its most, billed up to that when it was used."""

from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client

from garage.clock import fixed
from invoicing import papers
from invoicing.models import Authorization, EstimateLine, InvoiceLine
from jobs.actions.writing_up import save_line
from jobs.models import Job, Line
from tests.invoicing.cast import Garage, labor, part
from tests.invoicing.consent_cast import drafted, sound
from tests.invoicing.test_pages import form_of, text_of
from tests.invoicing.test_papers import read_out

D = Decimal
Login = Callable[[str], Client]


pytestmark = pytest.mark.usefixtures("real_clock")


HOSE = {"description": "Brake hose, left", "quantity": "1", "unit_price": "28.00", "tax_class": "parts"}


@pytest.fixture
def job(garage: Garage, login: Login) -> Job:
    """An hour of labor, and a hose that may turn out not to be needed, written through the form."""
    job = garage.job([labor("1")])
    url = f"/operations/{job.operations.get().pk}/lines/new/?kind=part"
    assert "Only if needed, up to this amount" in text_of(login("counter").get(url))
    answer = login("counter").post(url, {**HOSE, "condition": "", "if_needed": "on"})
    assert answer.status_code == 303, text_of(answer)
    return job


def hose() -> Line:
    return Line.objects.get(kind="part")


def finished(garage: Garage, job: Job) -> Job:
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    return garage.finish(job)


def used(client: Client, **more: str) -> str:
    """Untick "only if needed" on the line's form, with what it came to."""
    answer = client.post(f"/lines/{hose().pk}/", {**HOSE, "condition": "new", **more})
    return "" if answer.status_code == 303 else text_of(answer)


def test_the_form_takes_it_and_refuses_one_without_an_amount(garage: Garage, job: Job, login: Login) -> None:
    client = login("counter")
    assert hose().if_needed and "if needed, up to $28.00" in text_of(client.get(f"/jobs/{job.pk}/"))
    assert 'name="if_needed"' in text_of(client.get(f"/lines/{hose().pk}/"))
    refused = client.post(f"/lines/{hose().pk}/", {**HOSE, "unit_price": "0", "if_needed": "on"})
    assert refused.status_code == 422
    assert "Write the most it may cost: at 0.00 nothing of it could be billed." in text_of(refused)
    amount = client.get("/lines/amount/", {**HOSE, "kind": "part", "if_needed": "on"}, headers={"HX-Request": "true"})
    assert "if needed, comes to at most <b>$28.00</b>" in text_of(amount)


def test_it_is_printed_read_out_and_sealed_so(garage: Garage, job: Job, login: Login) -> None:
    client, estimate = login("counter"), garage.estimate(job)
    page, paper = text_of(client.get(f"/estimates/{estimate.pk}/")), read_out(papers.estimate_paper(estimate.pk))
    assert "if needed, up to $28.00" in page and "if needed, up to $28.00" in paper
    assert "Of this, only if needed 28.00" in paper and estimate.net == D("156.00")
    assert "Of this, only if needed" in read_out(papers.estimate_draft(job.pk))
    form = text_of(client.get(f"/jobs/{job.pk}/authorize/"))
    assert "<li>Brake hose, left, if needed, up to $28.00</li>" in form
    client.post(f"/jobs/{job.pk}/authorize/", form_of(estimate, limit="156.00"))
    record = Authorization.objects.get()
    assert "158.03 USD with tax. Of this: Brake hose, left, if needed, up to $28.00." in record.text  # 7.25 % of 28.00
    assert EstimateLine.objects.get(kind="part").if_needed and sound()


def test_unused_it_is_not_billed_and_lends_nothing(garage: Garage, job: Job, login: Login) -> None:
    finished(garage, job)
    page = text_of(login("counter").get(f"/jobs/{job.pk}/invoice/"))
    assert "Brake hose, left: authorized if needed, and not written as used. It is not billed" in page
    assert "$28.00 less." in page
    line = Line.objects.get(kind="labor")
    dearer = {"unit_price": D("130.00")}
    save_line(operation=line.operation, line=line, fields=dearer, actor=garage.actor, clock=fixed(garage.now))
    assert drafted(job).over == ["“Operation 1” comes to $2.00 more than the $156.00 that was authorized (before tax)."]
    save_line(
        operation=line.operation, line=line, fields={"unit_price": D("128.00")}, actor=garage.actor,
        clock=fixed(garage.now),
    )  # fmt: skip
    invoice = garage.issue(job)
    assert invoice.net == D("128.00") and not InvoiceLine.objects.filter(kind="part").exists() and sound()


def test_it_may_be_billed_up_to_its_most_with_an_item_chosen_later(garage: Garage, job: Job, login: Login) -> None:
    finished(garage, job)
    assert used(login("counter"), description="Brake hose, left: BH-22", unit_price="26.40") == ""
    page = text_of(login("counter").get(f"/jobs/{job.pk}/invoice/"))
    assert "no longer only if needed" in page and "Issue invoice" in page
    invoice = garage.issue(job)
    billed = InvoiceLine.objects.get(kind="part")
    assert (invoice.net, billed.description, billed.if_needed) == (D("154.40"), "Brake hose, left: BH-22", False)
    assert "if needed" not in read_out(papers.invoice_paper(invoice.pk)) and sound()


def test_above_its_most_it_needs_a_new_yes(garage: Garage, job: Job, login: Login) -> None:
    client = login("counter")
    finished(garage, job)
    assert used(client, unit_price="30.00") == ""
    sheet = text_of(client.get(f"/jobs/{job.pk}/"))
    assert "Brake hose, left comes to $2.00 more than it was to be at most" in sheet
    page = text_of(client.get(f"/jobs/{job.pk}/invoice/"))
    assert "Write revised estimate" in page and "Issue invoice" not in page
    revised = garage.estimate(job)
    client.post(f"/jobs/{job.pk}/authorize/", form_of(revised, limit="158.00"))
    assert garage.issue(job).net == D("158.00") and sound()


def test_another_part_than_was_named_is_not_it(garage: Garage, job: Job, login: Login) -> None:
    finished(garage, job)
    assert used(login("counter"), description="Caliper, left") == ""
    assert "Caliper, left, new instead of Brake hose, left" in " ".join(drafted(job).over)


def test_from_the_shelf_it_was_needed_when_it_was_drawn(garage: Garage, login: Login) -> None:
    fluid = garage.fluid()
    job = garage.job([labor("1"), garage.poured(fluid, "0.5", if_needed=True)])
    estimate = garage.estimate(job)
    assert "if needed, up to 0.500 L, $30.60" in read_out(papers.estimate_paper(estimate.pk))
    garage.authorize(estimate)
    garage.into_bay(job)
    assert "only if needed" in text_of(login("technician").get(f"/bay/{job.pk}/"))
    garage.draw(Line.objects.get(item=fluid), "0.4")
    garage.finish(job)
    assert drafted(job).net == D("152.48") and drafted(job).excess == ()  # 128.00 and 0.4 L at 61.20
    garage.issue(job)
    assert InvoiceLine.objects.get(item=fluid).if_needed is False and sound()


def test_a_core_hangs_on_a_need_like_on_any_part(garage: Garage) -> None:
    job = garage.job([part("Caliper", "90.00", if_needed=True)])
    line = hose()
    core = {"kind": "charge", "description": "Core deposit", "quantity": D(1), "unit": "each", "unit_price": D("40.00")}
    row = garage.line(line.operation, **core, finer="core", tax_class="parts")
    Line.objects.filter(pk=row.pk).update(under=line)
    save_line(
        operation=line.operation, line=line, fields={"quantity": D(2)}, actor=garage.actor, clock=fixed(garage.now)
    )
    row.refresh_from_db()
    assert (row.if_needed, row.quantity) == (True, D(2))
    finished(garage, job)
    assert not drafted(job).charges


def test_an_item_is_picked_from_the_shelf_later(garage: Garage, login: Login) -> None:
    client, fluid = login("counter"), garage.fluid()
    need = {**garage.poured(fluid, "0.5", if_needed=True), "item": None, "description": "Transfer fluid, to top up"}
    job = garage.job([labor("1"), need])
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    line = Line.objects.get(kind="fluid")
    url = f"/lines/{line.pk}/?item={fluid.pk}"
    assert "Kestrel TF-31 transfer fluid" in text_of(client.get(url))
    picked = {"item": str(fluid.pk), "description": str(fluid), "quantity": "0.5 L", "unit_price": "61.20 / L"}
    answer = client.post(url, {**picked, "condition": "new", "tax_class": "parts", "if_needed": "on"})
    assert answer.status_code == 303 and "Not authorized" not in text_of(client.get(f"/jobs/{job.pk}/"))
    garage.draw(Line.objects.get(kind="fluid"), "0.5")
    garage.finish(job)
    invoice = garage.issue(job)
    assert invoice.net == D("158.60") and sound()  # 128.00 and half a liter at 61.20
    assert InvoiceLine.objects.get(item=fluid).description == "Kestrel TF-31 transfer fluid"
