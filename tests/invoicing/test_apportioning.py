"""Taxes shared out over operations: they add up to the cent, and no share is a cent away from its exact one."""

from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from invoicing.sums import Charge, ClassRate, OperationCharges, apportioned, shares_of_tax, sum_up

D = Decimal
CENT = D("0.01")
NETS = st.decimals("-200", "900", places=2)
RATES = st.decimals("0", "0.25", places=6)
CLASSES = ("parts", "labor", "charge")


def charge(net: Decimal, tax_class: str) -> Charge:
    return Charge(None, "charge", "Work", D(1), "each", net, tax_class, net)


def operation(key: int, *charges: Charge) -> OperationCharges:
    return OperationCharges(key, key, f"Operation {key}", "", "", "", True, charges)


WORK = st.lists(st.lists(st.builds(charge, NETS, st.sampled_from(CLASSES)), max_size=4), min_size=1, max_size=6).map(
    lambda rows: [operation(key, *charges) for key, charges in enumerate(rows, start=1)]
)
#: A state tax on all classes, a county's on parts: the same tax is one row over its classes, rounded once.
TAXES = st.builds(
    lambda state, county: (
        [ClassRate(1, "State", name, state) for name in CLASSES] + [ClassRate(2, "County", "parts", county)]
    ),
    RATES,
    RATES,
)


@given(WORK, TAXES)
def test_the_shares_are_the_taxes_to_the_cent_and_each_is_less_than_a_cent_from_its_own(
    work: list[OperationCharges], rates: list[ClassRate]
) -> None:
    sums = sum_up([charge for row in work for charge in row.charges], rates)
    shares = shares_of_tax(work, sums.taxes)
    assert sum(shares, D(0)) == sums.tax
    for row, share in zip(work, shares, strict=True):
        own = sum(
            (
                Fraction(charge.net) * Fraction(rate.rate)
                for charge in row.charges
                for rate in rates
                if charge.tax_class == rate.tax_class
            ),
            Fraction(0),
        )
        assert abs(Fraction(share) - own) < Fraction(len(sums.taxes) or 1, 100)
        assert share == share.quantize(CENT)
        if not row.charges:
            assert share == 0


@given(WORK, TAXES)
def test_one_operation_alone_bears_the_taxes_of_its_paper(work: list[OperationCharges], rates: list[ClassRate]) -> None:
    sums = sum_up(work[0].charges, rates)
    assert shares_of_tax(work[:1], sums.taxes) == [sums.tax]


@given(st.lists(st.fractions(-50, 50), min_size=1, max_size=8))
def test_larger_rests_are_served_first(exact: list[Fraction]) -> None:
    shares = [D(one.numerator) / D(one.denominator) for one in exact]
    total = sum(shares, D(0)).quantize(CENT, ROUND_HALF_UP)
    given_ = apportioned(total, shares)
    assert sum(given_, D(0)) == total
    up = [share for share, part in zip(shares, given_, strict=True) if part > share]
    down = [share for share, part in zip(shares, given_, strict=True) if part <= share]
    rest = {share: share - share.quantize(CENT, ROUND_FLOOR) for share in shares}
    assert not up or not down or min(rest[one] for one in up) >= max(rest[one] for one in down)


def test_by_hand() -> None:
    # Three times 10.01 at 6.25 %: 0.625625 each, 1.876875 in all, so 1.88 (worked out by hand).
    assert apportioned(D("1.88"), [D("0.625625")] * 3) == [D("0.63"), D("0.63"), D("0.62")]
    # 3.33 and 1.11 at 8.25 %: 0.274725 and 0.091575 come to 0.3663, so 0.37; the rests are 0.4725 and 0.1575 of a cent.
    assert apportioned(D("0.37"), [D("0.274725"), D("0.091575")]) == [D("0.28"), D("0.09")]
    # Money back bears tax back: −0.725 and 2.90 come to 2.175, so 2.18.
    assert apportioned(D("2.18"), [D("-0.725"), D("2.90")]) == [D("-0.72"), D("2.90")]


def test_a_total_that_is_not_what_the_shares_come_to_is_refused() -> None:
    for total in ("1.86", "1.885"):
        with pytest.raises(ValueError, match="shares"):
            apportioned(D(total), [D("0.625625")] * 3)
