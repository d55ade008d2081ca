"""The promises of the books hold after real work, and each breach made behind the program's back is named."""

from collections.abc import Iterator
from decimal import Decimal

import pytest
from django.db import connection

from garage import database, ledger
from garage.models import Counter
from invoicing import freezing, promises, promises_money, queries
from invoicing.models import Authorization, Estimate, EstimateLine, Invoice, InvoiceLine, Receivable
from tests.invoicing.cast import Garage, labor, part

D = Decimal
CHECKS = (
    promises.sums_hold,
    promises.invoices_sealed,
    promises.numbers_run,
    promises.billed_was_authorized,
    promises.authorizations_sealed,
    promises.estimates_in_the_chain,
    lambda: ledger.breaks(Authorization),
    promises.receivables_add_up,
    promises_money.payments_add_up,
    promises_money.moves_add_up,
    promises_money.nothing_beyond,
)


@pytest.fixture
def book(garage: Garage) -> Garage:
    """Three invoices: a part credited, a part paid, and a deposit applied of which something stays as credit."""
    fluid = garage.fluid()
    first = garage.issue(garage.done([labor("1"), part(), garage.poured(fluid, "0.85")]))
    second = garage.issue(garage.done([part("Clip", "3.33", "3")]))
    garage.pay(first, "100.00")
    garage.credit(second, lines={InvoiceLine.objects.get(description="Clip").pk: D(1)})
    job = garage.job([labor("1")])
    garage.authorize(garage.estimate(job))
    garage.deposit(job, "200.00")
    garage.issue(garage.finish(garage.into_bay(job)))
    return garage


@pytest.fixture
def unguarded(db: None) -> Iterator[None]:
    """Somebody with the database file open and the triggers dropped."""
    database.remove_guards(connection)
    yield
    database.install(connection)


def breaches() -> list[str]:
    return [sentence for check in CHECKS for sentence in check()]


def run(sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        assert cursor.rowcount > 0


def test_everything_holds_after_work_payments_and_credits(book: Garage) -> None:
    assert breaches() == []


@pytest.mark.usefixtures("unguarded")
@pytest.mark.parametrize(
    ("tampering", "sentence"),
    [
        ("UPDATE invoicing_invoiceline SET net = net + 1 WHERE description = 'Labor'", "its lines come to"),
        ("UPDATE invoicing_invoiceline SET description = 'Gold' WHERE kind = 'labor'", "are not those that were"),
        ("UPDATE invoicing_invoicetax SET tax = tax + 1", "its rows come to"),
        ("UPDATE invoicing_estimateline SET unit_price = unit_price + 1", "it is not what was written"),
        ("UPDATE invoicing_authorizationoperation SET decision = 'declined'", "is not authorized"),
        ("UPDATE invoicing_authorization SET \"limit\" = 1", "its content is not what was sealed"),
        ("UPDATE invoicing_paymentpart SET amount = amount + 1", "its parts come to"),
        ("DELETE FROM invoicing_paymentpart", "goes nowhere"),
        ("UPDATE invoicing_paymentpart SET amount = 2 * amount WHERE allocation_id > 0", "not those that were sealed"),
        ("DELETE FROM invoicing_paymentpart WHERE allocation_id > 0 AND amount < 0", "do not come to that"),
        ("UPDATE invoicing_paymentpart SET job_id = NULL WHERE job_id > 0 AND amount > 0", "was there"),
        (
            "UPDATE invoicing_paymentpart SET customer_id = (SELECT min(id) FROM garage_customer) "
            "WHERE customer_id > (SELECT min(id) FROM garage_customer)",
            "another customer",
        ),
        ("UPDATE invoicing_allocation SET amount = amount + 1", "do not come to that"),
        ("UPDATE invoicing_receivable SET balance = balance + 1", "stands as owed"),
        ("UPDATE invoicing_invoice SET number = 7 WHERE number = 2", "has 3 where 2 should stand"),
        ("UPDATE garage_counter SET value = 9 WHERE series = 'invoice:2026'", "its counter says 9"),
    ],
)  # fmt: skip
def test_tampering_is_named(book: Garage, tampering: str, sentence: str) -> None:
    run(tampering)
    assert any(sentence in breach for breach in breaches()), breaches()


@pytest.mark.usefixtures("unguarded")
def test_an_estimate_nobody_authorized_is_in_the_audit_chain(book: Garage) -> None:
    """Exchanged together with its own seal, or taken away whole, it is missed all the same."""
    estimate = book.estimate(book.job([labor("1")]))
    assert breaches() == []
    EstimateLine.objects.filter(estimate_operation__estimate=estimate).update(unit_price=D("99.00"))
    fresh = queries.estimates().get(pk=estimate.pk)
    seal = freezing.estimate_seal(fresh, [(row, row.lines.all()) for row in fresh.operations.all()])
    Estimate.objects.filter(pk=estimate.pk).update(content_sha256=seal)
    assert breaches() == [f"estimate {estimate.label}: its seal is not the one in the audit chain"]
    EstimateLine.objects.filter(estimate_operation__estimate=estimate).delete()
    estimate.operations.all().delete()
    Estimate.objects.filter(pk=estimate.pk).delete()
    assert breaches() == [f"estimate {estimate.pk} was written, and it is gone"]


def test_a_changed_name_behind_a_paper_is_found_and_an_erased_one_is_not(book: Garage) -> None:
    person = Invoice.objects.order_by("pk")[0].person
    person.data = {"name": "Somebody Else"}
    person.save()
    assert any("changed behind" in breach for breach in breaches())
    person.data, person.salt, person.erased_at = {}, "", book.now
    person.save()
    assert breaches() == []


def test_a_number_is_missed_when_its_series_lost_the_counter(book: Garage) -> None:
    Counter.objects.filter(series="invoice:2026").delete()
    assert any("no counter" in breach for breach in breaches())


def test_a_receivable_of_a_credit_note_is_found(book: Garage) -> None:
    note = InvoiceLine.objects.get(credits__isnull=False).invoice_operation.invoice
    Receivable.objects.create(invoice=note, customer=note.customer, due_on=note.due_on, balance=D(1))
    assert any("credit note has something owed" in breach for breach in breaches())
