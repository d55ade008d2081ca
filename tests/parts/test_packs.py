"""Which packs cover the need for the least money."""

import itertools
import math
from decimal import Decimal as D
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parts.packs import PackChoice, PackOffer, cheapest_packs, search

QT = D("0.946352946")  # NIST Handbook 44, appendix C: 1 US liquid quart in liters, exact
IMP_QT = D("1.1365225")  # the same: 1 imperial quart
# What a caller may hand over by mistake: Any, so that the type checker lets it through to the check.
FLOAT: Any = 1.5
TRUE: Any = True

BOTTLE = PackOffer("1 L bottle", D(1), D("36.00"))


def by_trying_all(need: D, offers: list[PackOffer], on_hand: D = D(0)) -> PackChoice:
    """Every number of every pack that could matter, and the best by the rule as it is written."""
    offers = sorted(offers, key=lambda offer: offer.label)
    missing = need - on_hand
    most = [int(max(missing, D(0)) // offer.size) + 1 for offer in offers]
    choices = []
    for counts in itertools.product(*(range(many + 1) for many in most)):
        bought = sum((n * offer.size for n, offer in zip(counts, offers, strict=True)), D(0))
        if bought >= missing:
            cost = sum((n * offer.price for n, offer in zip(counts, offers, strict=True)), D(0))
            choices.append((cost, bought, sum(counts), tuple(-n for n in counts)))
    cost, bought, _, minus = min(choices)
    counts_by_label = {offer.label: -n for n, offer in zip(minus, offers, strict=True) if n}
    return PackChoice(counts_by_label, cost, bought, on_hand + bought - need)


def test_four_changes_of_seven_tenths_take_three_bottles_and_leave_two_tenths():
    # Common practice, no source.
    choice = cheapest_packs(4 * D("0.7"), [BOTTLE])
    assert choice == PackChoice({"1 L bottle": 3}, D("108.00"), D(3), D("0.2"))


def test_an_open_bottle_on_the_shelf_is_used_first():
    choice = cheapest_packs(D("2.8"), [BOTTLE], on_hand=D("0.85"))
    assert choice == PackChoice({"1 L bottle": 2}, D("72.00"), D(2), D("0.05"))


def test_a_pail_is_bought_when_it_costs_less_than_the_bottles_even_if_more_is_left_over():
    pail = PackOffer("20 L pail", D(20), D("400.00"))
    assert cheapest_packs(D("11.1"), [BOTTLE, pail]).counts == {"20 L pail": 1}
    assert cheapest_packs(D(11), [BOTTLE, pail]).counts == {"1 L bottle": 11}
    assert cheapest_packs(D("22.5"), [BOTTLE, pail]).counts == {"1 L bottle": 3, "20 L pail": 1}


def test_a_drum_stays_at_the_dealer_for_a_need_that_it_dwarfs():
    drum = PackOffer("208 L drum", D(208), D("1664.00"))
    bottle = PackOffer("1 L bottle", D(1), D("9.00"))
    assert cheapest_packs(D(100), [drum, bottle]).counts == {"1 L bottle": 100}
    assert cheapest_packs(D(300), [drum, bottle]).counts == {"1 L bottle": 92, "208 L drum": 1}


def test_a_need_that_is_covered_buys_nothing():
    assert cheapest_packs(D(2), [BOTTLE], on_hand=D("2.5")) == PackChoice({}, D(0), D(0), D("0.5"))
    assert cheapest_packs(D(2), [], on_hand=D(2)) == PackChoice({}, D(0), D(0), D(0))
    assert cheapest_packs(D(0), []) == PackChoice({}, D(0), D(0), D(0))


@pytest.mark.parametrize(
    ("offers", "counts"),
    [
        pytest.param([("4 L", 4, 20), ("5 L", 5, 20)], {"4 L": 1}, id="least leftover"),
        pytest.param([("1 L", 1, 5), ("4 L", 4, 20)], {"4 L": 1}, id="fewest packs"),
        pytest.param([("4 L b", 4, 20), ("4 L a", 4, 20)], {"4 L a": 1}, id="first label"),
        pytest.param([("a 1", 1, 5), ("b 2", 2, 10), ("c 3", 3, 15)], {"a 1": 1, "c 3": 1}, id="label in pairs"),
    ],
)
def test_at_the_same_cost_the_ties_are_decided_in_order(offers, counts):
    assert cheapest_packs(D(4), [PackOffer(label, D(size), D(price)) for label, size, price in offers]).counts == (
        counts
    )


def test_quarts_and_liters_are_weighed_to_the_billionth():
    offers = [BOTTLE, PackOffer("1 qt bottle", QT, D("34.07"))]
    assert cheapest_packs(QT, offers).counts == {"1 qt bottle": 1}
    assert cheapest_packs(QT + D("1E-9"), offers).counts == {"1 L bottle": 1}
    assert cheapest_packs(4 * QT, offers) == PackChoice({"1 qt bottle": 4}, D("136.28"), 4 * QT, D("0.000000000"))


def test_two_hundred_liters_of_quarts_are_covered_exactly():
    choice = cheapest_packs(D(200), [PackOffer("qt", QT, D("8.99")), PackOffer("L", D(1), D("9.50"))])
    # Every mix of the two: so many quarts, the rest in liters.
    mixes = [(quarts, math.ceil(200 - quarts * QT)) for quarts in range(212)]
    cost, leftover, _, quarts, liters = min(
        (q * D("8.99") + ltr * D("9.50"), q * QT + ltr - 200, q + ltr, q, ltr) for q, ltr in mixes if ltr >= 0
    )
    assert (choice.cost, choice.leftover) == (cost, leftover)
    assert choice.counts == {label: n for label, n in (("qt", quarts), ("L", liters)) if n}


@pytest.mark.parametrize("need", ["7.2", "123.456789", "200", "250.5", "299.37", "299.999", "300"])
@pytest.mark.parametrize("price_a_liter", ["9.00", "9.17", "36.00"])
@pytest.mark.parametrize(
    "sizes",
    [
        pytest.param([QT, D(1), IMP_QT, 4 * QT, 4 * IMP_QT, D(5)], id="three systems of measure"),
        pytest.param([D(1), D(4), D(5), D(20), IMP_QT, D("208.197648")], id="bottles to drum"),
        pytest.param([D(60), QT, 4 * QT, D(4), 20 * QT, 4 * IMP_QT], id="kegs and gallons"),
    ],
)
def test_six_offers_at_almost_the_same_price_a_liter_need_few_looks(need, price_a_liter, sizes):
    """The hardest case: nothing is clearly dear. Prices are a liter's price rounded to cents."""
    offers = [PackOffer(f"pack {number}", size, round(size * D(price_a_liter), 2)) for number, size in enumerate(sizes)]
    assert search(D(need), offers).states < 80_000


sizes = st.sampled_from([D("0.25"), D("0.5"), QT, D(1), IMP_QT, D("1.5"), D(2), 4 * QT, D(4)])
some_offers = st.lists(st.tuples(sizes, st.integers(1, 12)), min_size=1, max_size=4).map(
    lambda pairs: [PackOffer(f"pack {n}", size, D(price)) for n, (size, price) in enumerate(pairs)]
)


@settings(max_examples=150, deadline=None)
@given(need=st.decimals(0, "2.6", places=3), offers=some_offers, on_hand=st.sampled_from([D(0), D("0.3"), D(2)]))
def test_the_choice_is_the_one_that_trying_all_of_them_finds(need, offers, on_hand):
    assert cheapest_packs(need, offers, on_hand) == by_trying_all(need, offers, on_hand)


@settings(max_examples=100, deadline=None)
@given(
    need=st.integers(1, 300),
    packs=st.lists(st.tuples(st.integers(1, 60), st.integers(1, 300)), min_size=1, max_size=6),
)
def test_the_cost_is_the_one_of_a_table_filled_liter_by_liter(need, packs):
    """Another method: the least cost of each whole number of liters from those before it."""
    least = [(0, 0)]
    for liters in range(1, need + 1):
        least.append(
            min((least[max(0, liters - size)][0] + price, least[max(0, liters - size)][1] + 1) for size, price in packs)
        )
    choice = cheapest_packs(need, [PackOffer(f"{n}", D(s), D(p)) for n, (s, p) in enumerate(packs)])
    assert choice.cost == least[need][0]
    assert choice.leftover == choice.bought - need >= 0


@pytest.mark.parametrize(
    ("need", "offers", "on_hand", "sentence"),
    [
        (D(1), [], D(0), "Offers are missing"),
        (D(-1), [BOTTLE], D(0), "Need must not be below zero"),
        (D(1), [BOTTLE], D(-1), "On hand must not be below zero"),
        (D("NaN"), [BOTTLE], D(0), "Need must be a finite number"),
        (D(1), [BOTTLE], D("Infinity"), "On hand must be a finite number"),
        (FLOAT, [BOTTLE], D(0), "Need must be an exact decimal number"),
        (D("1E-41"), [BOTTLE], D(0), "Need has more than 40 decimal places"),
        (D(1), [BOTTLE, BOTTLE], D(0), 'Label "1 L bottle" is given twice'),
        (D(1), [PackOffer("", D(1), D(1))], D(0), "Label of offer 1 is missing"),
        (D(1), [PackOffer("pail", D(0), D(1))], D(0), 'Size of "pail" must be greater than zero'),
        (D(1), [PackOffer("pail", D(1), D(0))], D(0), 'Price of "pail" must be greater than zero'),
        (D(1), [PackOffer("pail", D(1), D("sNaN"))], D(0), 'Price of "pail" must be a finite number'),
        (D(0), [PackOffer("pail", D(-1), D(1))], D(0), 'Size of "pail" must be greater than zero'),
        (D(1), [PackOffer("pail", TRUE, D(1))], D(0), 'Size of "pail" must be an exact decimal number'),
    ],
)
def test_an_offer_or_a_need_that_makes_no_sense_is_refused_by_name(need, offers, on_hand, sentence):
    with pytest.raises(ValueError, match=sentence):
        cheapest_packs(need, offers, on_hand)
