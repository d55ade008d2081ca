"""Two counters at once: numbers without gap or duplicate, and one act for one key."""

import threading
import uuid
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from django.db import connection

from garage import promises as all_promises
from garage.errors import Refused
from garage.models import Customer
from invoicing import accounts, promises, promises_money
from invoicing.models import Invoice, Payment, Receivable
from tests.invoicing.cast import Garage, labor
from tests.invoicing.counter_sales import sold

HANDS = 8


def at_once(acts: Sequence[Callable[[], Any]]) -> list[Any]:
    """Do the acts in threads of their own, all let go at the same moment; what each gave, or raised."""
    gate = threading.Barrier(len(acts))
    results: list[Any] = [None] * len(acts)

    def run(place: int) -> None:
        gate.wait()
        try:
            results[place] = acts[place]()
        except Exception as error:
            results[place] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(place,)) for place in range(len(acts))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


def test_eight_invoices_issued_at_once_are_numbered_without_gap(transactional_db: None, garage: Garage) -> None:
    jobs = [garage.done([labor("1")]) for _ in range(HANDS)]
    issued = at_once([partial(garage.issue, job) for job in jobs])
    assert sorted(row.number for row in issued) == list(range(1, HANDS + 1))
    assert list(promises.numbers_run()) == []
    assert list(promises.invoices_sealed()) == []


def test_one_key_sent_eight_times_at_once_is_one_invoice(transactional_db: None, garage: Garage) -> None:
    job, key = garage.done([labor("1")]), uuid.uuid4()
    issued = at_once([lambda: garage.issue(job, key=key)] * HANDS)
    assert {row.pk for row in issued} == {Invoice.objects.get().pk}


def test_eight_keys_for_one_job_are_one_invoice_and_seven_refusals(transactional_db: None, garage: Garage) -> None:
    job = garage.done([labor("1")])
    results = at_once([lambda: garage.issue(job)] * HANDS)
    assert sum(isinstance(row, Invoice) for row in results) == 1
    assert sum(isinstance(row, Refused) for row in results) == HANDS - 1
    assert Invoice.objects.count() == 1


def test_payments_at_once_never_exceed_what_is_owed(transactional_db: None, garage: Garage) -> None:
    invoice = garage.issue(garage.done([labor("1")]))  # 128.00
    results = at_once([lambda: garage.pay(invoice, "50.00")] * HANDS)
    assert sum(isinstance(row, Payment) for row in results) == 2
    assert Receivable.objects.get().balance == 28
    assert list(promises.receivables_add_up()) == []


def test_two_clerks_record_the_last_50_at_once(transactional_db: None, garage: Garage) -> None:
    invoice = garage.issue(garage.done([labor("1")]))
    garage.pay(invoice, "78.00")
    results = at_once([lambda: garage.pay(invoice, "50.00")] * 2)
    assert sum(isinstance(row, Payment) for row in results) == 1
    assert any(isinstance(row, Refused) and "nothing is owed" in str(row) for row in results)
    assert accounts.credit_of(invoice.customer) == 0


def test_credit_applied_and_refunded_at_once_is_used_once(transactional_db: None, garage: Garage) -> None:
    invoice = garage.issue(garage.done([labor("1")]))
    place = accounts.on_account(invoice.customer)
    garage.on_account(invoice.customer, "50.00")
    uses = [lambda: garage.move(place, accounts.on_invoice(invoice), "50.00"), lambda: garage.refund(place, "50.00")]
    results = at_once(uses * 3)
    assert sum(isinstance(row, Refused) for row in results) == 5
    assert accounts.credit_of(invoice.customer) == 0
    assert list(promises_money.nothing_beyond()) == []


def test_clerks_who_sell_at_once_share_the_shelf_and_the_walk_in_customer(
    transactional_db: None, garage: Garage
) -> None:
    fluid = garage.fluid(liters=3)
    results = at_once([partial(sold, garage, garage.poured(fluid, "1"))] * HANDS)
    refused = [str(row) for row in results if isinstance(row, Refused)]
    assert refused == ["Only 0.000 L on the shelf."] * 5
    assert sorted(row.number for row in results if isinstance(row, Invoice)) == [1, 2, 3]
    assert Customer.objects.get().walk_in
    assert [sentence for _promise, found in all_promises.run() for sentence in found] == []
