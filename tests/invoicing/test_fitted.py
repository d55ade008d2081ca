"""Printed as fitted: another number of the same chain keeps the yes, and the papers say which number it was."""

import uuid
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client

from garage.clock import fixed
from invoicing import papers
from invoicing.models import InvoiceLine
from jobs.models import Job, Line
from parts.actions.items import save_item, supersede, take_back_supersession
from parts.actions.receiving import opening_stock
from parts.models import Item, Supersession
from tests.invoicing.cast import Garage, labor, part
from tests.invoicing.consent_cast import change, drafted, sound
from tests.invoicing.test_pages import text_of
from tests.invoicing.test_papers import read_out

D = Decimal
Login = Callable[[str], Client]


pytestmark = pytest.mark.usefixtures("real_clock")


def pads(garage: Garage, name: str, pieces: int) -> Item:
    """A pad set with so many on the shelf."""
    fields = {"kind": "part", "name": name, "brand": "Kestrel", "base_unit": "each", "price": D("74.90")}
    item = save_item(actor=garage.actor, clock=fixed(garage.now), fields=fields, packs=[("piece", D(1), "1", "")])
    if pieces:
        opening_stock(
            key=uuid.uuid4(), item=item, pack=item.packs.get(), packs=pieces, unit_cost=D("40"), actor=garage.actor,
            clock=fixed(garage.now),
        )  # fmt: skip
    return item


def replaced(garage: Garage, old: Item, new: Item) -> None:
    supersede(old=old, new=new, on=garage.today, actor=garage.actor, clock=fixed(garage.now))


def agreed(garage: Garage, item: Item, pieces: str = "1") -> Job:
    """A job on which a number of a pad set was said yes to, in the bay."""
    job = garage.job([labor("1"), part(str(item), quantity=pieces, item=item)])
    garage.authorize(garage.estimate(job))
    return garage.into_bay(job)


def fitted(garage: Garage, job: Job, pieces: str = "1") -> Line:
    line = Line.objects.get(operation__job=job, kind="part")
    garage.draw(line, pieces)
    return line


def test_the_successor_that_was_fitted_is_printed_and_keeps_the_yes(garage: Garage, login: Login) -> None:
    client, old, new = login("counter"), pads(garage, "PS-7", 0), pads(garage, "PS-8", 2)
    job = agreed(garage, old)
    replaced(garage, old, new)
    before = text_of(client.get(f"/jobs/{job.pk}/"))
    assert ">Kestrel PS-7</a>" in before and "today Kestrel PS-8" in before
    fitted(garage, job)
    sheet = text_of(client.get(f"/jobs/{job.pk}/"))
    assert ">Kestrel PS-8</a>" in sheet and "replaces Kestrel PS-7" in sheet and "Not authorized" not in sheet
    garage.finish(job)
    draft = text_of(client.get(f"/jobs/{job.pk}/invoice/"))
    assert "Kestrel PS-8 (replaces Kestrel PS-7): another number of the same part, which needs no new yes." in draft
    invoice = garage.issue(job)
    billed = InvoiceLine.objects.get(kind="part")
    assert (billed.item, billed.description, billed.fitted) == (new, "Kestrel PS-8", "replaces Kestrel PS-7")
    for said in (text_of(client.get(f"/invoices/{invoice.pk}/")), read_out(papers.invoice_paper(invoice.pk))):
        assert "Kestrel PS-8" in said and "replaces Kestrel PS-7" in said
    note = garage.credit(invoice)
    assert "replaces Kestrel PS-7" in read_out(papers.invoice_paper(note.pk)) and sound()


def test_of_two_numbers_each_is_named_with_how_much_of_it(garage: Garage, login: Login) -> None:
    old, new = pads(garage, "PS-7", 1), pads(garage, "PS-8", 2)
    replaced(garage, old, new)
    job = agreed(garage, old, "2")
    fitted(garage, job, "2")
    says = "1 of it is Kestrel PS-8 (replaces Kestrel PS-7)"
    sheet = text_of(login("counter").get(f"/jobs/{job.pk}/"))
    assert ">Kestrel PS-7</a>" in sheet and says in sheet
    paper = read_out(papers.invoice_paper(garage.issue(garage.finish(job)).pk))
    assert "Kestrel PS-7" in paper and says in paper and sound()


def test_an_older_number_used_up_first_stands_in_place_of_the_one_agreed_to(garage: Garage) -> None:
    old, new = pads(garage, "PS-7", 1), pads(garage, "PS-8", 2)
    replaced(garage, old, new)
    job = agreed(garage, new)
    fitted(garage, job)
    garage.issue(garage.finish(job))
    billed = InvoiceLine.objects.get(kind="part")
    assert (billed.item, billed.fitted) == (old, "in place of Kestrel PS-8") and sound()


def test_what_came_back_was_not_fitted(garage: Garage, login: Login) -> None:
    old, new = pads(garage, "PS-7", 0), pads(garage, "PS-8", 2)
    replaced(garage, old, new)
    job = agreed(garage, old)
    garage.bring_back(fitted(garage, job), "1")
    sheet = text_of(login("counter").get(f"/jobs/{job.pk}/"))
    assert ">Kestrel PS-7</a>" in sheet and "replaces Kestrel PS-7" not in sheet


def test_a_supersession_taken_back_since_leaves_what_was_fitted_rightly(garage: Garage) -> None:
    old, new = pads(garage, "PS-7", 0), pads(garage, "PS-8", 2)
    job = agreed(garage, old)
    replaced(garage, old, new)
    fitted(garage, job)
    take_back_supersession(supersession=Supersession.objects.get(), actor=garage.actor, clock=fixed(garage.now))
    assert drafted(garage.finish(job)).excess == ()
    garage.issue(job)
    assert InvoiceLine.objects.get(kind="part").fitted == "replaces Kestrel PS-7" and sound()


def test_a_part_of_another_chain_does_not_pass(garage: Garage, login: Login) -> None:
    old, other = pads(garage, "PS-7", 0), pads(garage, "CX-40", 2)
    job = agreed(garage, old)
    line = Line.objects.get(kind="part")
    change(garage, line, item=other, description=str(other))
    sheet = text_of(login("counter").get(f"/jobs/{job.pk}/"))
    assert "Not authorized" in sheet and "Kestrel CX-40, new instead of Kestrel PS-7, new" in sheet
    assert [why.key for row in drafted(job).consent.operations.values() for why in row.beyond] == ["part"]
