"""Laws of money through the real verbs: whatever is charged, the papers add up to the cent, there and back."""

import contextlib
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from django.db import transaction
from django.db.models import Sum
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from garage.errors import Refused
from garage.models import ShopProfile
from invoicing import promises, promises_money
from invoicing.accounts import Place, balance_of, on_account, on_invoice, on_job, owed, standing_advances
from invoicing.accounts import deposits as deposits_of
from invoicing.models import Invoice, InvoiceLine, Payment, Receivable, TaxRate
from invoicing.queries import invoice_of
from jobs.models import Job
from tests.invoicing.cast import Garage, charge, labor, part

D = Decimal
prices = st.decimals("0.01", "999.99", places=2)
fine_prices = st.decimals("0.000001", "50", places=6)
hours = st.decimals("0.1", "9.9", places=1)
counts = st.integers(1, 40).map(str)
shares = st.sampled_from(["0", "0.05", "0.1", "0.333333333", "1"])
lines = st.lists(
    st.one_of(
        st.builds(lambda q, p, d: labor(str(q), str(p), discount=D(d)), hours, prices, shares),
        st.builds(lambda p, q, d: part("Clip", str(p), q, discount=D(d)), prices | fine_prices, counts, shares),
        st.builds(lambda p, c: charge("Charge", str(p), tax_class=c), prices, st.sampled_from(["charge", "none"])),
    ),
    min_size=1,
    max_size=7,
)
slow = settings(
    max_examples=12,
    deadline=None,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # each example is real work: shrinking would take minutes
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def cents(amount: Fraction) -> Decimal:
    """Rounded half-up from an exact fraction: the test's own arithmetic, in another number system."""
    return (D(amount.numerator) / D(amount.denominator)).quantize(D("0.01"), ROUND_HALF_UP)


def net_of(fields: dict[str, object]) -> Decimal:
    """Quantity times the price as printed (cents; below 1.00 four places) less discount, then rounded once."""
    off = Fraction(str(fields.get("discount", 0)))
    price = D(str(fields["unit_price"]))
    printed = price.quantize(D("0.01") if price >= 1 else D("0.0001"), ROUND_HALF_UP)
    return cents(Fraction(str(fields["quantity"])) * Fraction(str(printed)) * (1 - off))


@slow
@given(work=lines)
def test_an_invoice_adds_up_whatever_is_charged(garage: Garage, work: list[dict[str, object]]) -> None:
    with transaction.atomic():
        invoice = garage.issue(garage.done(work))
        assert invoice.net == sum((net_of(fields) for fields in work), D(0))
        taxed = sum((net_of(row) for row in work if row["tax_class"] in ("parts", "charge")), D(0))
        assert invoice.tax == cents(Fraction(str(taxed)) * Fraction("0.0725"))
        assert invoice.gross == invoice.net + invoice.tax
        assert [*promises.sums_hold(), *promises.receivables_add_up(), *promises.billed_was_authorized()] == []
        transaction.set_rollback(True)


@slow
@given(work=lines, data=st.data())
def test_credits_in_any_portions_come_back_to_zero(
    garage: Garage, work: list[dict[str, object]], data: st.DataObject
) -> None:
    with transaction.atomic():
        invoice = garage.issue(garage.done(work))
        for line in InvoiceLine.objects.filter(invoice_operation__invoice=invoice):
            portion = data.draw(st.sampled_from(["0.25", "0.5", "1"]), label="share of a line credited first")
            garage.credit(invoice, lines={line.pk: line.quantity * D(portion)})
        if sum(note.net for note in invoice.credit_notes.all()) != -invoice.net or _left(invoice.pk):
            garage.credit(invoice)
        notes = list(invoice.credit_notes.all())
        assert sum(note.gross for note in notes) == -invoice.gross
        assert sum(note.tax for note in notes) == -invoice.tax
        assert Receivable.objects.get(invoice=invoice).balance == 0
        assert [*promises.sums_hold(), *promises.receivables_add_up()] == []
        transaction.set_rollback(True)


def _left(pk: int) -> bool:
    """Whether some quantity of the invoice has not been credited."""
    billed = InvoiceLine.objects.filter(invoice_operation__invoice=pk)
    return any(line.quantity + sum((row.quantity for row in line.credited_by.all()), D(0)) for line in billed)


# Money that moves: any order of acts, refused or done


class Till:
    """One customer's book under random acts, beside a plain count of what must come out."""

    def __init__(self, garage: Garage) -> None:
        self.garage = garage
        self.customer = garage.customer()
        self.jobs: list[Job] = []
        self.invoices: list[Invoice] = []
        self.received: list[Payment] = []
        self.cash = D(0)  # what the customer has handed over, less what they got back

    def places(self) -> list[Place]:
        """Everywhere money of the customer can stand."""
        return [on_account(self.customer), *map(on_invoice, self.invoices), *map(on_job, self.jobs)]

    def do(self, act: str, amount: str, pick: int) -> None:
        """Do one act, or be refused in words; the count follows only what was done."""
        with contextlib.suppress(Refused), transaction.atomic():
            getattr(self, act)(amount, pick)

    def job(self, _amount: str, _pick: int) -> None:
        job = self.garage.job([labor("1")], customer=self.customer)
        self.garage.authorize(self.garage.estimate(job))
        self.jobs.append(job)

    def deposit(self, amount: str, pick: int) -> None:
        if self.jobs:
            job = self.jobs[pick % len(self.jobs)]
            self._in(self.garage.deposit(job, amount))
            self.invoices += [row for row in standing_advances(job) if row not in self.invoices]

    def bill(self, _amount: str, pick: int) -> None:
        if self.jobs:
            job = self.jobs[pick % len(self.jobs)]
            job.refresh_from_db()
            if job.stage == "ready":
                self.garage.finish(self.garage.into_bay(job))
            self.invoices.append(self.garage.issue(job))

    def pay(self, amount: str, pick: int) -> None:
        if self.invoices:
            invoice = self.invoices[pick % len(self.invoices)]
            above = max(D(0), D(amount) - max(D(0), owed(invoice)))
            self._in(self.garage.pay(invoice, amount, credit=above))

    def top_up(self, amount: str, _pick: int) -> None:
        self._in(self.garage.on_account(self.customer, amount))

    def credit(self, _amount: str, pick: int) -> None:
        if self.invoices:
            self.garage.credit(self.invoices[pick % len(self.invoices)])

    def move(self, amount: str, pick: int) -> None:
        places = self.places()
        source = places[pick % len(places)]
        target = places[(pick // len(places)) % (len(self.invoices) + 1)]
        self.garage.move(source, target, amount)

    def refund(self, amount: str, pick: int) -> None:
        places = self.places()
        self.garage.refund(places[pick % len(places)], amount)
        self.cash -= D(amount)

    def reverse(self, _amount: str, pick: int) -> None:
        if self.received:
            payment = self.received[pick % len(self.received)]
            self.garage.reverse(payment)
            self.cash -= payment.amount

    def _in(self, payment: Payment) -> None:
        self.received.append(payment)
        self.cash += payment.amount

    def check(self) -> None:
        """No cent is made or lost: what was handed over pays for what was billed, or stands to the customer's good."""
        billed = sum(invoice.gross for invoice in Invoice.objects.filter(customer=self.customer))
        deposits = sum((amount for _job, amount in deposits_of(self.customer)), D(0))
        assert balance_of(self.customer) == billed - self.cash + deposits
        assert all(amount >= 0 for _job, amount in deposits_of(self.customer))
        for check in (
            promises.receivables_add_up, promises_money.payments_add_up, promises_money.moves_add_up,
            promises_money.nothing_beyond, promises_money.advances_taken_off, promises.sums_hold,
            promises.invoices_sealed, promises.billed_was_authorized,
        ):  # fmt: skip
            assert list(check()) == []


MONEY_ACTS = ["job", "deposit", "bill", "pay", "top_up", "credit", "move", "move", "refund", "reverse"]
acts = st.tuples(
    st.sampled_from(MONEY_ACTS),
    st.sampled_from(["0.01", "10.05", "28.00", "50.00", "128.00", "200.00"]),
    st.integers(0, 40),
)


@slow
@given(story=st.lists(acts, min_size=4, max_size=18))
def test_no_cent_is_made_or_lost_in_any_order_of_acts(garage: Garage, story: list[tuple[str, str, int]]) -> None:
    with transaction.atomic():
        till = Till(garage)
        till.job("", 0)
        till.deposit("50.00", 0)
        for act, amount, pick in story:
            till.do(act, amount, pick)
        till.check()
        transaction.set_rollback(True)


@slow
@given(story=st.lists(acts, min_size=4, max_size=18))
def test_no_cent_and_no_tax_is_lost_where_deposits_are_taxed(garage: Garage, story: list[tuple[str, str, int]]) -> None:
    with transaction.atomic():
        TaxRate.objects.all().delete()
        garage.rates(labor="0.20")
        ShopProfile.objects.update(deposits_taxed=True)
        till = Till(garage)
        till.job("", 0)
        till.deposit("50.00", 0)
        for act, amount, pick in story:
            till.do(act, amount, pick)
        till.check()
        for job in till.jobs:
            # What was billed and not taken back is taxed as a whole: an advance invoice adds nothing and hides nothing.
            papers = Invoice.objects.filter(job=job)
            final = invoice_of(job)
            work = final.operations.filter(advance=None).aggregate(sum=Sum("net"))["sum"] if final else D(0)
            standing = sum((row.tax for row in standing_advances(job)), D(0))
            assert sum(row.tax for row in papers) == standing + (work * D("0.20")).quantize(D("0.01"), ROUND_HALF_UP)
        transaction.set_rollback(True)
