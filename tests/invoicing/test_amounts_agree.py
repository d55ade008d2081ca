"""Every line of an estimate, draft and invoice comes to its printed quantity times its printed price."""

from decimal import ROUND_HALF_UP, Decimal

from django.db import transaction
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from garage.clock import fixed
from invoicing import drafts, promises, showing
from invoicing.actions.estimates import revise_to_used
from invoicing.models import InvoiceLine
from jobs import queries
from jobs.models import Line
from tests.invoicing.cast import Garage

D = Decimal


def figure(text: str) -> Decimal:
    """The number a figure begins with."""
    return D(text.split(" ")[0].replace(",", "").replace("−", "-"))


def check(shown: showing.LineShown, discount: Decimal) -> None:
    comes_to = figure(shown.quantity) * figure(shown.price) * (1 - discount)
    assert comes_to.quantize(D("0.01"), ROUND_HALF_UP) == figure(shown.net), shown


@settings(
    max_examples=12,
    deadline=None,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    typed=st.decimals("0.05", "2.5", places=3),
    unit=st.sampled_from(["L", "qt", "floz"]),
    drawn=st.decimals("0.01", "2.5", places=9),
    discount=st.sampled_from([D(0), D("0.1"), D("0.333")]),
)
def test_on_every_paper_quantity_times_price_is_the_amount(
    garage: Garage, typed: Decimal, unit: str, drawn: Decimal, discount: Decimal
) -> None:
    """Written in one unit and poured in another: the invoice prints the line's own, and the shelf keeps it exact."""
    with transaction.atomic():
        fluid = garage.fluid()
        fields = {"quantity": typed, "unit": unit, "typed": f"{typed} {unit}", "unit_price": D("61.20")}
        job = garage.job([garage.poured(fluid, "1", **fields, price_per="L", discount=discount)])
        estimate = garage.estimate(job)
        check(showing.from_paper(list(estimate.operations.all()))[0].lines[0], discount)
        garage.authorize(estimate)
        garage.into_bay(job)
        line = Line.objects.get(operation__job=job)
        garage.draw(line, str(drawn))
        garage.finish(job)
        made = drafts.draft(queries.sheets().get(pk=job.pk), garage.today)
        if made.excess:
            revised = revise_to_used(job=job, actor=garage.actor, clock=fixed(garage.now))
            garage.authorize(revised, limit=revised.net)
            made = drafts.draft(queries.sheets().get(pk=job.pk), garage.today)
        if not made.charges:
            assert drawn < D("0.02")  # less than half a thousandth of its unit is not charged
        else:
            check(showing.from_charges(made.operations)[0].lines[0], discount)
            invoice = garage.issue(job)
            check(showing.from_paper(list(invoice.operations.all()))[0].lines[0], discount)
            billed = InvoiceLine.objects.get(invoice_operation__invoice=invoice)
            assert (billed.unit, billed.base_quantity) == (unit, drawn)
            assert [*promises.sums_hold()] == []
        transaction.set_rollback(True)
