"""Where deposits are taxed: an advance invoice when the money comes, and its net and tax off the final one.

The figures are worked out by hand: tax in a gross price at one rate is gross × rate / (1 + rate), rounded half-up.
That a payment on account is a tax point is EU Directive 2006/112/EC, article 65 (from memory).
"""

import uuid
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.db import connection
from django.db.models import Sum
from django.test import Client
from django.utils import timezone

from garage import clockguard, database
from garage.clock import fixed
from garage.errors import Refused
from garage.models import Role, ShopProfile
from invoicing import accounts, advances, promises, promises_money
from invoicing.accounts import on_invoice
from invoicing.models import Invoice, InvoiceLine, InvoiceTax, TaxRate
from invoicing.sums import Charge, TaxSum
from jobs.actions.stages import cancel_job
from jobs.models import Job
from tests.invoicing.cast import Garage, labor, part
from tests.invoicing.test_pages import text_of

D = Decimal
Login = Callable[[str], Client]
CHECKS = (
    promises.sums_hold, promises.invoices_sealed, promises.numbers_run, promises.receivables_add_up,
    promises.billed_was_authorized, promises_money.payments_add_up, promises_money.nothing_beyond,
    promises_money.advances_taken_off,
)  # fmt: skip


@pytest.fixture
def garage(garage: Garage) -> Garage:
    """A garage where everything bears 20% and deposits are taxed."""
    TaxRate.objects.all().delete()
    garage.rates(parts="0.20", labor="0.20", charge="0.20")
    ShopProfile.objects.update(deposits_taxed=True)
    return garage


def breaches() -> list[str]:
    return [sentence for check in CHECKS for sentence in check()]


def paid_in_advance(garage: Garage, amount: str = "120.00", hours: str = "1") -> tuple[Job, Invoice]:
    job = garage.job([labor(hours), part()])  # 128.00 an hour and 74.90, with 20 %
    garage.authorize(garage.estimate(job))
    garage.deposit(job, amount)
    return job, Invoice.objects.get(kind="advance")


def test_an_advance_invoice_states_net_class_rate_and_tax_of_the_deposit(garage: Garage) -> None:
    _job, advance = paid_in_advance(garage)
    tax = InvoiceTax.objects.get(invoice=advance)
    assert (advance.net, advance.tax, advance.gross) == (D("100.00"), D("20.00"), D("120.00"))
    assert (tax.rate, tax.base, tax.tax, set(tax.tax_classes.split())) == (
        D("0.2"), D("100.00"), D("20.00"), {"labor", "parts"},
    )  # fmt: skip
    assert (advance.label, accounts.owed(advance)) == ("2026-0001", D(0))
    assert breaches() == []


def test_the_final_invoice_takes_net_and_tax_off_and_follows_in_the_series(garage: Garage) -> None:
    job, advance = paid_in_advance(garage)
    final = garage.issue(garage.finish(garage.into_bay(job)))
    assert (final.net, final.tax, final.gross) == (D("102.90"), D("20.58"), D("123.48"))  # 202.90 less 100.00
    assert (final.label, accounts.owed(final)) == ("2026-0002", D("123.48"))
    assert Invoice.objects.aggregate(sum=Sum("tax"))["sum"] == D("40.58")  # 20 % of 202.90, stated once
    assert final.operations.get(advance=advance).net == D("-100.00")
    garage.pay(final, "123.48")
    job.refresh_from_db()
    assert job.stage == "closed"
    assert breaches() == []


def offered(tax_class: str, net: str) -> Charge:
    return Charge(None, "charge", tax_class, D(1), "each", D(net), tax_class, D(net))


def test_two_rates_are_kept_apart_and_come_to_the_deposit_to_the_cent() -> None:
    work = [offered("labor", "128.00"), offered("parts", "74.90")]
    rates = [
        TaxSum(1, "VAT", D("128.00"), D("0.20"), D("25.60"), ("labor",)),
        TaxSum(1, "VAT", D("74.90"), D("0.05"), D("3.75"), ("parts",)),
    ]
    (labor_share, parts_share), (full, reduced) = advances.split(D("100.00"), work, rates)
    # With tax 153.60 and 78.645, together 232.245: of 100.00 that is 55.1142 and 32.2503 before tax, and the taxes are
    # 11.0228 and 1.6125. 100.00 less 12.63 is 87.37; rounded, the nets come to 87.36, and the larger takes the cent.
    assert (full.tax, reduced.tax) == (D("11.02"), D("1.61"))
    assert (labor_share.net, parts_share.net) == (D("55.12"), D("32.25"))
    assert (full.base, reduced.base) == (D("55.12"), D("32.25"))


def test_one_tax_over_two_classes_is_rounded_once_and_one_on_a_class_alone_stays_its_own() -> None:
    work = [offered("labor", "100.00"), offered("parts", "100.00"), offered("charge", "-5.00")]
    rates = [
        TaxSum(1, "State tax", D("200.00"), D("0.0625"), D("12.50"), ("labor", "parts")),
        TaxSum(2, "County tax", D("100.00"), D("0.01"), D("1.00"), ("parts",)),
    ]
    shares, (state, county) = advances.split(D("100.00"), work, rates)
    # 106.25 and 107.25 are 213.50 with tax: 46.8384 of 100.00 before tax for each class; 93.6768 × 6.25 % = 5.8548
    assert [(share.classes, share.net) for share in shares] == [(("labor",), D("46.84")), (("parts",), D("46.84"))]
    assert (state.base, state.tax, state.classes) == (D("93.68"), D("5.85"), ("labor", "parts"))
    assert (county.base, county.tax, county.classes) == (D("46.84"), D("0.47"), ("parts",))


def test_without_a_tax_the_deposit_is_all_net() -> None:
    assert advances.split(D("10.00"), [offered("labor", "1.00")], []) == ([advances.Share(("labor",), D("10.00"))], [])


def test_a_deposit_for_work_that_nobody_knows_is_refused_and_one_above_the_estimate(garage: Garage) -> None:
    job = garage.job([labor("1")])
    with pytest.raises(Refused, match="write the estimate first"):
        garage.deposit(job, "10.00")
    garage.estimate(job)
    with pytest.raises(Refused, match=r"more than the estimated total of \$153.60"):
        garage.deposit(job, "153.61")
    assert Invoice.objects.count() == 0


def test_a_credited_final_invoice_gives_the_advance_back_to_the_next_one(garage: Garage) -> None:
    job, _advance = paid_in_advance(garage)
    first = garage.issue(garage.finish(garage.into_bay(job)))
    note = garage.credit(first)
    assert (note.net, note.tax, note.gross) == (D("-102.90"), D("-20.58"), D("-123.48"))
    second = garage.issue(job)
    assert (second.gross, accounts.standing_advances(job)) == (D("123.48"), [])
    assert breaches() == []


def test_an_advance_invoice_that_is_taken_off_is_not_credited_before_its_final_one(garage: Garage) -> None:
    job, advance = paid_in_advance(garage)
    garage.issue(garage.finish(garage.into_bay(job)))
    with pytest.raises(Refused, match="takes this advance invoice off"):
        garage.credit(advance)


def test_a_job_called_off_credits_the_advance_invoice_and_refunds_what_was_paid(garage: Garage) -> None:
    job, advance = paid_in_advance(garage)

    def cancel() -> Job:
        return cancel_job(job=job, reason="Sold the car.", actor=garage.actor, clock=fixed(garage.now))

    with pytest.raises(Refused, match="Advance invoice 2026-0001 is open on Job 1: issue its credit memo first"):
        cancel()
    garage.credit(advance)
    job.refresh_from_db()
    assert (accounts.owed(advance), job.stage) == (D("-120.00"), "ready")
    garage.refund(on_invoice(advance), "120.00")
    assert cancel().stage == "canceled"
    assert Invoice.objects.aggregate(sum=Sum("tax"))["sum"] == 0
    assert breaches() == []


def test_an_advance_above_the_final_invoice_is_credited_first_and_its_money_applied(garage: Garage) -> None:
    job = garage.job([labor("1")], [labor("2")])
    garage.authorize(garage.estimate(job))
    garage.deposit(job, "300.00")
    advance = Invoice.objects.get()
    second = job.operations.get(position=2)
    second.lines.all().delete()
    second.delete()
    final_job = garage.finish(garage.into_bay(job))
    with pytest.raises(Refused, match=r"\$146.40 more than this invoice"):
        garage.issue(final_job)
    garage.credit(advance)
    final = garage.issue(final_job)
    garage.move(on_invoice(advance), on_invoice(final), "153.60")
    assert (accounts.owed(final), accounts.owed(advance)) == (D(0), D("-146.40"))
    assert breaches() == []


def test_without_the_shops_field_a_deposit_has_no_paper_in_the_series(garage: Garage) -> None:
    ShopProfile.objects.update(deposits_taxed=False)
    job = garage.job([labor("1")])
    garage.deposit(job, "50.00")
    assert (Invoice.objects.count(), accounts.deposit_of(job)) == (0, D("50.00"))


def test_a_part_of_the_final_invoice_is_credited_up_to_what_is_left_of_it(garage: Garage) -> None:
    job, advance = paid_in_advance(garage, "200.00")
    final = garage.issue(garage.finish(garage.into_bay(job)))  # 243.48 less 200.00
    pads = InvoiceLine.objects.get(kind="part", invoice_operation__invoice=final)
    with pytest.raises(Refused, match=r"\$43.48 of this invoice is left"):
        garage.credit(final, lines={pads.pk: D(1)})
    off = InvoiceLine.objects.get(kind="charge", invoice_operation__invoice=final)
    with pytest.raises(Refused, match="only when all that was billed is credited"):
        garage.credit(final, lines={off.pk: D(1)})
    hours = InvoiceLine.objects.get(kind="labor", invoice_operation__invoice=final)
    note = garage.credit(final, lines={hours.pk: D("0.25")})
    assert (note.gross, accounts.owed(final)) == (D("-38.40"), D("5.08"))  # 32.00 and 20 %
    rest = garage.credit(final)
    assert (rest.gross, accounts.owed(final), accounts.standing_advances(job)) == (D("-5.08"), D(0), [advance])
    assert Invoice.objects.aggregate(sum=Sum("tax"))["sum"] == advance.tax
    assert breaches() == []


def test_an_advance_invoice_whose_tax_was_rounded_in_the_amount_is_taken_back_to_the_cent(garage: Garage) -> None:
    _job, advance = paid_in_advance(garage, "10.05")  # 8.375 before tax, 1.675 of tax; 20 % of 8.37 would be 1.67
    assert (advance.net, advance.tax) == (D("8.37"), D("1.68"))
    note = garage.credit(advance)
    assert (note.net, note.tax, accounts.owed(advance)) == (D("-8.37"), D("-1.68"), D("-10.05"))
    assert breaches() == []


@pytest.mark.parametrize(
    ("tampering", "sentence"),
    [
        ("UPDATE invoicing_invoiceoperation SET net = net + 1 WHERE advance_id > 0", "takes -99.99 off"),
        ("UPDATE invoicing_invoiceoperation SET advance_id = NULL", "are not those that were sealed"),
        ("UPDATE invoicing_invoicetax SET advance_id = NULL", "are not those that were sealed"),
        (
            "UPDATE invoicing_invoiceoperation SET advance_id ="
            " (SELECT min(advance_id) FROM invoicing_invoiceoperation) WHERE advance_id > 0",
            "which another invoice takes off too",
        ),
    ],
)
def test_what_is_taken_off_is_checked(garage: Garage, tampering: str, sentence: str) -> None:
    for _job in range(2):
        job = garage.job([labor("1"), part()])
        garage.authorize(garage.estimate(job))
        garage.deposit(job, "120.00")
        garage.issue(garage.finish(garage.into_bay(job)))
    assert breaches() == []
    database.remove_guards(connection)
    with connection.cursor() as cursor:
        cursor.execute(tampering)
    database.install(connection)
    assert any(sentence in breach for breach in breaches()), breaches()


# The pages


@pytest.fixture
def today(garage: Garage) -> Garage:
    """The same garage by the real clock, which the pages read."""
    garage.live()
    return garage


def test_a_taxed_deposit_goes_through_the_pages_to_the_final_invoice_and_back(today: Garage, login: Login) -> None:
    client = login("counter")
    job = today.job([labor("1"), part()])
    today.authorize(today.estimate(job))
    assert "an advance invoice is issued for it" in text_of(client.get(f"/jobs/{job.pk}/deposit/"))
    paid = {"key": str(uuid.uuid4()), "amount": "120", "method": "card", "paid_on": "", "reference": ""}
    assert "Advance invoice" in text_of(client.post(f"/jobs/{job.pk}/deposit/", paid, follow=True))
    advance = Invoice.objects.get()
    page = text_of(client.get(f"/invoices/{advance.pk}/"))
    assert f"Advance invoice {advance.label}" in page and "the final invoice takes it off" in page
    assert "Before tax" in page and "VAT 20%" not in page and "Sales tax 20% on 100.00" in page
    assert f"Advance invoice {advance.label}" in text_of(client.get(f"/jobs/{job.pk}/"))
    today.finish(today.into_bay(job))
    draft = text_of(client.get(f"/jobs/{job.pk}/invoice/"))
    assert f"Less advance invoice {advance.label}" in draft and "$123.48" in draft and draft.count('id="issue"') == 1
    due = timezone.localdate().isoformat()
    client.post(f"/jobs/{job.pk}/invoice/", {"key": str(uuid.uuid4()), "due_on": due})
    final = Invoice.objects.get(kind="invoice")
    shown = text_of(client.get(f"/invoices/{final.pk}/"))
    assert "Sales tax 20% on −100.00, in advance" in shown and "$123.48 owed" in shown
    page = text_of(client.get(f"/invoices/{advance.pk}/"))
    assert f'Taken off invoice <a href="/invoices/{final.pk}/">' in page and "Issue credit memo" not in page
    form = text_of(client.get(f"/invoices/{final.pk}/credit/"))
    assert "the advance invoice is open again" in form and "Deposit for" not in form
    lines = {f"line_{row.pk}": f"{row.quantity}" for row in InvoiceLine.objects.filter(kind__in=["labor", "part"])}
    client.post(f"/invoices/{final.pk}/credit/", {"key": str(uuid.uuid4()), "reason": "Called off", **lines})
    assert accounts.standing_advances(job) == [advance]
    form = text_of(client.get(f"/invoices/{advance.pk}/credit/"))
    assert "An advance invoice is credited whole" in form and "line_" not in form
    client.post(f"/invoices/{advance.pk}/credit/", {"key": str(uuid.uuid4()), "reason": "Called off"})
    assert accounts.owed(advance) == D("-120.00") and accounts.standing_advances(job) == []
    assert breaches() == []


def test_the_page_that_cancels_names_the_advance_invoice(today: Garage, login: Login) -> None:
    job, advance = paid_in_advance(today)
    page = text_of(login("counter").get(f"/jobs/{job.pk}/cancel/"))
    assert f'<a href="/invoices/{advance.pk}/">' in page and "issue its credit memo" in page


def test_the_day_of_an_advance_invoice_is_asked_about(
    today: Garage, login: Login, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = today.job([labor("1"), part()])
    today.estimate(job)
    monkeypatch.setattr(clockguard, "STARTED", clockguard.STARTED - 2 * 3600)  # when the program began it was earlier
    paid = {"key": str(uuid.uuid4()), "amount": "120", "method": "card", "paid_on": "", "reference": "slip 4"}
    address = f"/jobs/{job.pk}/deposit/"
    counter, owner = login(Role.COUNTER), login(Role.OWNER)
    page = text_of(counter.get(address))
    assert "leapt ahead by 2 hours" in page and "clock_reason" not in page
    assert counter.post(address, paid).status_code == 422 and not Invoice.objects.exists()
    refused = owner.post(address, paid)
    assert refused.status_code == 422 and 'name="clock_reason"' in text_of(refused) and "slip 4" in text_of(refused)
    assert owner.post(address, {**paid, "clock_reason": "The battery was replaced"}).status_code == 303
    assert Invoice.objects.get().gross == D("120.00")
