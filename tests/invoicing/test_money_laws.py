"""Laws of money through the real verbs: whatever is charged, the papers add up to the cent, there and back."""

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from django.db import transaction
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from invoicing import promises
from invoicing.models import InvoiceLine, Receivable
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
