"""What the job sheet says a line comes to is what the invoice charges for it."""

from decimal import Decimal

from hypothesis import example, given
from hypothesis import strategies as st

from invoicing.totals import line_net
from jobs.amounts import amount

quantities = st.decimals(min_value=Decimal("1e-9"), max_value=Decimal(10**6), places=9)
prices = st.decimals(min_value=Decimal(0), max_value=Decimal(10**6), places=6)
shares = st.decimals(min_value=Decimal(0), max_value=Decimal(1), places=9)


@given(quantities, prices, shares)
@example(Decimal("1"), Decimal("2.675"), Decimal(0))
@example(Decimal("0.5"), Decimal("0.01"), Decimal(0))
def test_the_sheet_and_the_invoice_count_a_line_alike(quantity, price, discount):
    assert amount(quantity, price, discount) == line_net(quantity, price, discount)
