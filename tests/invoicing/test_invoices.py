"""Invoices: numbered, frozen, nothing above what was authorized, corrected only by a credit note."""

import uuid
from decimal import Decimal

import pytest
from django.db import DatabaseError, transaction

from garage.clock import fixed
from garage.errors import Refused
from garage.models import Document, OutgoingMail
from invoicing import drafts
from invoicing.actions.invoices import OverLimit
from invoicing.models import Invoice, InvoiceLine, Receivable
from jobs import queries as jobs_queries
from jobs.actions.writing_up import save_line
from jobs.models import Line
from tests.invoicing.cast import Garage, charge, labor, part

D = Decimal


def test_the_sample_job_adds_up_to_the_cent(garage: Garage) -> None:
    # The figures of the look's sample invoice, computed by hand: 1.4 h and 1.1 h at 128.00; 1.700 L at 61.20.
    fluid = garage.fluid()
    first = [labor("1.4"), garage.poured(fluid, "1.700"), part("Plug kit PK-12", "18.50")]
    job = garage.done(first, [labor("1.1"), part("Pad set, rear", "74.90")])
    invoice = garage.issue(job)
    assert (invoice.label, invoice.number) == ("2026-0001", 1)
    assert (invoice.labor_net, invoice.parts_net, invoice.other_net) == (D("320.00"), D("197.44"), D("0.00"))
    assert (invoice.net, invoice.tax, invoice.gross) == (D("517.44"), D("14.31"), D("531.75"))
    assert invoice.receivable.balance == D("531.75")
    job.refresh_from_db()
    assert job.stage == "invoiced"


def test_the_number_of_an_invoice_goes_on_by_one(garage: Garage) -> None:
    labels = [garage.issue(garage.done([labor()])).label for _ in range(3)]
    assert labels == ["2026-0001", "2026-0002", "2026-0003"]


def test_a_double_tap_is_one_invoice(garage: Garage) -> None:
    job, key = garage.done([labor()]), uuid.uuid4()
    assert garage.issue(job, key=key).pk == garage.issue(job, key=key).pk
    assert Invoice.objects.count() == 1


def test_a_second_invoice_for_the_same_job_is_refused(garage: Garage) -> None:
    job = garage.done([labor()])
    garage.issue(job)
    with pytest.raises(Refused, match="has an invoice already"):
        garage.issue(job)
    assert Invoice.objects.count() == 1


def test_fluid_is_billed_by_what_was_drawn_less_what_came_back(garage: Garage) -> None:
    fluid = garage.fluid()
    job = garage.job([labor(), garage.poured(fluid, "1.700")])
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    line = Line.objects.get(item=fluid)
    garage.draw(line, "1.7")
    garage.bring_back(line, "0.3")
    garage.finish(job)
    made = drafts.draft(jobs_queries.sheets().get(pk=job.pk), garage.today)
    assert made.differences == ("Kestrel TF-31 transfer fluid: 1.700 L authorized, 1.400 L used, $18.36 less.",)
    billed = InvoiceLine.objects.get(invoice_operation__invoice=garage.issue(job), kind="fluid")
    assert (billed.quantity, billed.net) == (D("1.4"), D("85.68"))
    assert billed.cost == D("50.400000")  # 1.4 L at 36.00


def test_a_part_that_was_not_drawn_is_not_billed_and_said_so(garage: Garage) -> None:
    fluid = garage.fluid()
    job = garage.job([labor(), garage.poured(fluid, "1.700")])
    garage.authorize(garage.estimate(job))
    garage.finish(garage.into_bay(job))
    made = drafts.draft(jobs_queries.sheets().get(pk=job.pk), garage.today)
    assert "none taken from the shelf" in made.differences[0]
    assert garage.issue(job).net == D("179.20")


def test_one_cent_above_the_authorized_amount_is_refused(garage: Garage) -> None:
    # law.md T5: in California and New York, authorized 500.00, bill 500.01: authorization needed
    # (16 CCR 3354(a), 15 NYCRR 82.5(a); source text seen).
    job = garage.job([part("Alternator", "500.00")])
    garage.authorize(garage.estimate(job), limit=D("500.00"))
    garage.finish(garage.into_bay(job))
    line = Line.objects.get(operation__job=job)
    fields = {"unit_price": D("500.01")}
    save_line(operation=line.operation, line=line, fields=fields, actor=garage.actor, clock=fixed(garage.now))
    with pytest.raises(OverLimit, match=r"“Operation 1” comes to \$0.01 more than the \$500.00") as refused:
        garage.issue(job)
    assert refused.value.over == D("0.01")
    assert not Invoice.objects.exists()


def test_exactly_the_authorized_amount_is_billed(garage: Garage) -> None:
    job = garage.job([part("Alternator", "500.00")])
    garage.authorize(garage.estimate(job), limit=D("500.00"))
    garage.finish(garage.into_bay(job))
    assert garage.issue(job).net == D("500.00")


def test_declined_work_is_not_billed(garage: Garage) -> None:
    job = garage.job([labor("1")], [part()])
    second = job.operations.get(position=2)
    garage.authorize(garage.estimate(job), {second.pk: "not this year"})
    garage.finish(garage.into_bay(job))
    invoice = garage.issue(job)
    assert invoice.net == D("128.00")
    assert invoice.notices["declined"] == ["Operation 2, in the customer’s words: “not this year”."]


def test_a_job_in_the_bay_is_not_invoiced(garage: Garage) -> None:
    job = garage.job([labor()])
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    with pytest.raises(Refused, match="must be finished in the bay first"):
        garage.issue(job)


def test_issuing_asks_for_the_pdf_and_its_mail_in_the_same_act(garage: Garage) -> None:
    invoice = garage.issue(garage.done([labor()]), mail_to="odile@example.com")
    paper = Document.objects.get(kind="invoice", source=invoice.pk)
    mail = OutgoingMail.objects.get(purpose="invoice")
    assert paper.name == "Invoice 2026-0001.pdf"
    assert list(mail.attachments.all()) == [paper]
    assert "2026-0001" in mail.subject and "Fell 2.4" in mail.text


def test_a_refused_issue_gives_no_number_away(garage: Garage) -> None:
    job = garage.done([labor()])
    with pytest.raises(Refused):
        garage.issue(job, mail_to="no address")
    assert not OutgoingMail.objects.exists()
    assert garage.issue(job).label == "2026-0001"


def test_a_tax_class_without_a_rate_is_refused_by_name(garage: Garage) -> None:
    job = garage.job([charge("Frame straightening", "90.00", tax_class="fabrication")])
    with pytest.raises(Refused, match="No tax rate is set for fabrication labor"):
        garage.estimate(job)


def test_an_exempt_customer_pays_no_tax_and_the_certificate_is_kept(garage: Garage) -> None:
    fleet = garage.customer("Fernhollow School", tax_exempt=True, exemption_certificate="EX-77")
    invoice = garage.issue(garage.done([part()], customer=fleet))
    assert (invoice.tax, invoice.gross, invoice.exemption) == (D(0), D("74.90"), "certificate EX-77")


def test_an_expired_certificate_does_not_exempt(garage: Garage) -> None:
    fleet = garage.customer(
        "Fernhollow School",
        tax_exempt=True,
        exemption_certificate="EX-77",
        exemption_until=garage.today.replace(day=1),
    )
    invoice = garage.issue(garage.done([part()], customer=fleet))
    assert (invoice.tax, invoice.exemption) == (D("5.43"), "")


def test_an_issued_invoice_cannot_be_changed_or_deleted(garage: Garage) -> None:
    invoice = garage.issue(garage.done([labor()]))
    for change in (
        lambda: Invoice.objects.filter(pk=invoice.pk).update(gross=D(1), net=D(1)),
        lambda: InvoiceLine.objects.all().delete(),
        lambda: InvoiceLine.objects.update(net=D(1)),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


def test_an_order_number_that_a_customer_needs_is_asked_for(garage: Garage) -> None:
    fleet = garage.customer("Fernhollow Vans", order_number_required=True)
    job = garage.done([labor()], customer=fleet)
    with pytest.raises(Refused, match="needs an order number"):
        garage.issue(job)


def test_the_due_day_follows_the_customers_terms(garage: Garage) -> None:
    fleet = garage.customer("Fernhollow Vans", payment_days=30)
    days = {(garage.issue(garage.done([labor()], customer=who)).due_on - garage.today).days for who in (fleet, None)}
    assert days == {30, 14}


# Credit notes


def test_a_whole_credit_note_takes_everything_back_and_the_job_can_be_invoiced_again(garage: Garage) -> None:
    job = garage.done([labor("1"), part()])
    invoice = garage.issue(job)
    note = garage.credit(invoice)
    assert (note.label, note.corrects, note.gross) == ("2026-0002", invoice, -invoice.gross)
    assert Receivable.objects.get(invoice=invoice).balance == 0
    job.refresh_from_db()
    assert job.stage == "finished"
    assert garage.issue(job).label == "2026-0003"


def test_parts_of_a_credit_add_up_to_the_invoice_to_the_cent(garage: Garage) -> None:
    # Three at 3.33 less 10 %: 8.99; each alone 3.00, so the last one must take 2.99, and the taxes likewise.
    job = garage.done([part("Clip", "3.33", "3", discount=D("0.1"))])
    invoice = garage.issue(job)
    line = InvoiceLine.objects.get()
    notes = [garage.credit(invoice, lines={line.pk: D(1)}) for _ in range(3)]
    assert [note.net for note in notes] == [D("-3.00"), D("-3.00"), D("-2.99")]
    assert sum(note.gross for note in notes) == -invoice.gross
    assert Receivable.objects.get(invoice=invoice).balance == 0


def test_a_credit_on_one_of_two_classes_under_the_same_tax_counts_when_the_rest_is_credited(garage: Garage) -> None:
    # Parts and charges are one base at 7.25 %: 0.72 on 9.98. A credit on the charge alone takes 0.36 of it first.
    invoice = garage.issue(garage.done([part("Clip", "4.99"), charge("Disposal", "4.99")]))
    first = garage.credit(invoice, lines={InvoiceLine.objects.get(kind="charge").pk: D(1)})
    rest = garage.credit(invoice)
    assert (invoice.tax, first.tax, rest.tax) == (D("0.72"), D("-0.36"), D("-0.36"))
    assert Receivable.objects.get(invoice=invoice).balance == 0


def test_no_more_is_credited_than_was_billed(garage: Garage) -> None:
    invoice = garage.issue(garage.done([part("Clip", "3.00", "3")]))
    line = InvoiceLine.objects.get()
    garage.credit(invoice, lines={line.pk: D(2)})
    with pytest.raises(Refused, match="Clip: 1 can still be credited"):
        garage.credit(invoice, lines={line.pk: D(2)})


def test_a_credit_after_payment_is_owed_to_the_customer_until_it_is_given_back(garage: Garage) -> None:
    invoice = garage.issue(garage.done([labor("1"), part("Clip", "10.00")]))
    garage.pay(invoice, "138.73")
    line = InvoiceLine.objects.get(kind="part")
    garage.credit(invoice, lines={line.pk: D(1)})
    assert Receivable.objects.get(invoice=invoice).balance == D("-10.73")


def test_a_credit_note_needs_a_reason_and_is_not_credited_itself(garage: Garage) -> None:
    invoice = garage.issue(garage.done([labor()]))
    with pytest.raises(Refused, match="Write why"):
        garage.credit(invoice, reason=" ")
    note = garage.credit(invoice)
    with pytest.raises(Refused, match="is not credited"):
        garage.credit(note)
