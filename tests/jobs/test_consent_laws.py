"""The laws of consent, held against sequences of records and sheets that nobody would think of.

The rules are the design's own, after 16 CCR 3354 (additions and other parts ask for consent even at the same price).
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.consent import (
    AUTHORIZED,
    DECLINED,
    JOB_WIDE,
    WITHDRAWN,
    Consent,
    JobWide,
    Record,
    Said,
    consent_from,
    excess_of,
)
from jobs.offers import Line, Offer, Tax, Work, beyond

D = Decimal
CENTS = st.integers(0, 400).map(lambda cents: D(cents) / 100)
OPERATIONS = (1, 2, 3)
WHEN = st.datetimes(timezones=st.just(dt.UTC))


def line(key: int, net: str | Decimal, what: str = "Pad set", **more: object) -> Line:
    return Line(key, what=what, net=D(net), **{"kind": "part", "tax_class": "parts", "condition": "new", **more})  # type: ignore[arg-type]


def offer(operation: int, *lines: Line, **more: object) -> Offer:
    return Offer(operation, f"Operation {operation}", lines, **more)  # type: ignore[arg-type]


def work(operation: int, *lines: Line, **more: object) -> Work:
    return Work(operation, f"Operation {operation}", lines, **more)  # type: ignore[arg-type]


def record(seq: int, *said: tuple[Offer, str], slack: str | Decimal = "0", **more: object) -> Record:
    return Record(seq, tuple(Said(*one) for one in said), slack=D(slack), **more)  # type: ignore[arg-type]


NETS = st.tuples(CENTS, CENTS)


def two(operation: int, nets: tuple[Decimal, Decimal]) -> tuple[Line, ...]:
    """The two lines of an operation, at these amounts."""
    return tuple(line(operation * 10 + at, net) for at, net in enumerate(nets))


OFFERS = st.builds(lambda operation, nets: offer(operation, *two(operation, nets)), st.sampled_from(OPERATIONS), NETS)
ANSWERS = st.sampled_from([AUTHORIZED, AUTHORIZED, AUTHORIZED, DECLINED, WITHDRAWN])
SAID = st.lists(st.builds(Said, OFFERS, ANSWERS), min_size=1, max_size=3).map(tuple)
#: A first yes to everything in three of four histories, so that most bills could pass.
FIRST = st.one_of(
    SAID,
    *[
        st.tuples(
            *[st.builds(lambda nets, op=op: Said(offer(op, *two(op, nets)), AUTHORIZED), NETS) for op in OPERATIONS]
        )
    ]
    * 3,
)
RECORDS = st.builds(
    lambda first, later: [replace(row, seq=seq) for seq, row in enumerate([first, *later], start=1)],
    st.builds(Record, st.just(0), FIRST, WHEN, CENTS),
    st.lists(st.builds(Record, st.just(0), SAID, WHEN, CENTS), max_size=4),
)
WORKS = st.dictionaries(st.sampled_from(OPERATIONS), NETS).map(
    lambda nets: [work(operation, *two(operation, row)) for operation, row in nets.items()]
)


def last_said(records: Sequence[Record], operation: int) -> list[Said]:
    return [said for row in records for said in row.said if said.offer.operation == operation]


def net(bill: Work) -> Decimal:
    return sum((row.net for row in bill.lines), D(0))


@given(RECORDS, WORKS)
def test_what_passes_is_never_above_what_was_authorized_and_the_slack(records: list[Record], bill: list[Work]) -> None:
    """Recomputed the long way: the last yes of each operation that no withdrawal, and no first no, came after."""
    consent = consent_from(records, bill)
    if excess_of(consent, bill):
        return
    over = D(0)
    for billed in bill:
        yes: Said | None = None
        for said in last_said(records, billed.operation or 0):
            if said.decision == AUTHORIZED:
                yes = said
            elif said.decision == WITHDRAWN:
                yes = None
        assert yes is not None
        over += max(D(0), net(billed) - yes.offer.net)
    slack = [row.slack for row in records if any(said.decision == AUTHORIZED for said in row.said)]
    assert over <= (slack[-1] if slack else 0)


@given(RECORDS, WORKS, st.data())
def test_a_change_downward_never_needs_a_new_yes(records: list[Record], sheet: list[Work], data: st.DataObject) -> None:
    def lower(row: Line) -> Line:
        return replace(row, net=data.draw(st.integers(0, int(row.net * 100)).map(lambda cents: D(cents) / 100)))

    before = consent_from(records, sheet)
    kept = [replace(row, lines=tuple(lower(one) for one in row.lines if data.draw(st.booleans()))) for row in sheet]
    after = consent_from(records, kept)
    assert after.asks <= before.asks
    assert {row.operation for row in excess_of(after, kept)} <= {row.operation for row in excess_of(before, sheet)} | {
        row.operation for row in kept if after.of(row.operation).yes is None
    }


@given(RECORDS, WORKS, st.randoms(use_true_random=False))
def test_the_order_of_the_chain_decides_and_no_time(records: list[Record], sheet: list[Work], dice) -> None:
    shuffled = [replace(row, at=None) for row in records]
    dice.shuffle(shuffled)
    one, other = consent_from(records, sheet), consent_from(shuffled, sheet)
    assert {key: replace(row, at=None) for key, row in one.operations.items()} == dict(other.operations)
    assert (one.slack, one.seq) == (other.slack, other.seq)
    assert excess_of(one, sheet) == excess_of(other, sheet)


@given(RECORDS, WORKS)
def test_what_is_not_on_the_sheet_lends_nothing(records: list[Record], sheet: list[Work]) -> None:
    whole, alone = consent_from(records, sheet), [consent_from(records, [row]) for row in sheet]
    for row, by_itself in zip(sheet, alone, strict=True):
        assert whole.of(row.operation).yes == by_itself.of(row.operation).yes
        assert whole.slack == by_itself.slack


def over(consent: Consent, *bill: Work) -> list[tuple[int | None, Decimal]]:
    return [(row.operation, row.over) for row in excess_of(consent, bill)]


A, B = offer(1, line(11, "169.73")), offer(2, line(21, "135.18"))


def test_one_operation_does_not_lend_to_another() -> None:
    consent = consent_from([record(1, (A, AUTHORIZED), (B, AUTHORIZED))], [work(1, *A.lines), work(2, *B.lines)])
    assert over(consent, work(1, line(11, "234.59"))) == [(1, D("64.86"))]
    assert over(consent, work(1, *A.lines), work(2, *B.lines)) == []


def test_the_slack_is_that_of_the_last_yes_less_what_was_refused_after_it() -> None:
    dearer = offer(1, line(11, "177.73"))
    first = record(1, (A, AUTHORIZED), slack="10")
    bill = work(1, line(11, "179.73"))
    assert over(consent_from([first], [bill]), bill) == []
    refused = record(2, (dearer, DECLINED))
    assert consent_from([first, refused], [bill]).slack == D("2.00")
    assert over(consent_from([first, refused], [bill]), bill) == [(1, D("10.00"))]
    none = record(2, (B, AUTHORIZED), slack="0")
    assert over(consent_from([first, none], [bill]), bill) == [(1, D("10.00"))]


def test_the_slack_covers_neither_another_part_nor_work_that_nobody_agreed_to() -> None:
    consent = consent_from([record(1, (A, AUTHORIZED), slack="500")], [work(1, *A.lines), work(2, *B.lines)])
    assert over(consent, work(2, *B.lines)) == [(2, D("135.18"))]
    (excess,) = excess_of(consent, [work(1, line(11, "1.00", condition="used"))])
    assert [why.key for why in excess.why] == ["part"]


def test_a_no_to_an_addition_leaves_the_earlier_yes() -> None:
    added = offer(1, *A.lines, line(12, "20.00", "Clip"))
    consent = consent_from([record(1, (A, AUTHORIZED)), record(2, (added, DECLINED))], [work(1, *added.lines)])
    standing = consent.of(1)
    assert (standing.state, standing.net, standing.asks) == (AUTHORIZED, D("169.73"), False)
    again = consent_from(
        [record(1, (A, AUTHORIZED)), record(2, (added, DECLINED))], [work(1, *added.lines, offered_again_after=2)]
    )
    assert again.of(1).asks


def test_a_yes_taken_back_counts_until_a_later_yes() -> None:
    back = [record(1, (A, AUTHORIZED)), record(2, (A, WITHDRAWN))]
    assert consent_from(back, [work(1, *A.lines)]).of(1).reason == "withdrawn"
    assert consent_from([*back, record(3, (A, AUTHORIZED))], [work(1, *A.lines)]).of(1).state == AUTHORIZED


def test_declined_work_offered_again_is_undecided_until_the_next_answer() -> None:
    refused = [record(4, (A, DECLINED))]
    assert consent_from(refused, [work(1, *A.lines)]).of(1).state == DECLINED
    assert consent_from(refused, [work(1, *A.lines, offered_again_after=4)]).of(1).reason == "offered again"
    twice = [*refused, record(5, (A, DECLINED))]
    assert consent_from(twice, [work(1, *A.lines, offered_again_after=4)]).of(1).state == DECLINED


@pytest.mark.parametrize(
    ("change", "asks"),
    [
        ({"condition": "used"}, ["part"]),
        ({"what": "Pad set by another maker"}, ["part"]),
        ({"sublet_to": "Ostrand Grinding"}, ["part"]),
        ({"kind": "charge"}, ["part"]),
        ({"item": 8, "thing": 8}, ["part"]),
        ({"item": 8, "thing": 7, "what": "PS-8"}, []),  # the successor's number in the same chain
        ({"net": D("169.74")}, ["amount"]),
        ({"net": D("0.00")}, []),
        ({"tax_class": "sublet"}, ["taxed"]),  # not on the estimate: nobody heard its tax
        ({"tax_class": "labor"}, []),  # taxed lower
        ({"tax_class": "none"}, []),
    ],
)
def test_what_makes_a_line_another_one(change: dict[str, object], asks: list[str]) -> None:
    before = line(11, "169.73", item=7, thing=7)
    yes = offer(1, before, taxes=(Tax(D("0.0725"), frozenset({"parts"})), Tax(D(0), frozenset({"labor"}))))
    assert [row.key for row in beyond(yes, work(1, replace(before, **change)))] == asks  # type: ignore[arg-type]


LABOR = line(11, "100.00", "Labor", kind="labor", tax_class="labor")
HOSE = line(12, "28.00", "Brake hose, left", if_needed=True, condition="")
NEEDS = consent_from([record(1, (offer(1, LABOR, HOSE), AUTHORIZED))], [work(1, LABOR, HOSE)])


def why(*lines: Line) -> list[tuple[str, Decimal]]:
    """What of a bill of the operation with the need goes beyond its yes."""
    return [(one.key, one.amount) for row in excess_of(NEEDS, [work(1, *lines)]) for one in row.why]


@pytest.mark.parametrize(
    "now",
    [
        {"net": D("28.00")},
        {"net": D("19.50")},
        {"item": 5, "thing": 5, "what": "BH-22 brake hose"},  # chosen off the shelf later
        {"what": "Brake hose, left: BH-22"},  # chosen elsewhere: the words that were read out, and more
        {"condition": "new"},
    ],
)
def test_a_need_may_be_met_up_to_its_most(now: dict[str, object]) -> None:
    assert why(LABOR, replace(HOSE, if_needed=False, **now)) == []  # type: ignore[arg-type]
    assert NEEDS.of(1).asks is False


@pytest.mark.parametrize(
    ("now", "beyond_it"),
    [
        ({"net": D("28.01")}, [("need", D("0.01")), ("amount", D("0.01"))]),
        ({"what": "Caliper, left"}, [("part", HOSE.net)]),
        ({"kind": "sublet"}, [("part", HOSE.net)]),
        ({"sublet_to": "Ostrand Hydraulics"}, [("part", HOSE.net)]),
    ],
)
def test_above_its_most_or_something_else_a_need_asks_again(
    now: dict[str, object], beyond_it: list[tuple[str, Decimal]]
) -> None:
    assert why(LABOR, replace(HOSE, if_needed=False, **now)) == beyond_it  # type: ignore[arg-type]


def test_an_unused_need_lends_nothing_and_nothing_lends_to_a_need() -> None:
    assert why(LABOR) == []
    assert why(replace(LABOR, net=D("100.01"))) == [("amount", D("0.01"))]
    cheaper = replace(LABOR, net=D("50.00"))
    assert why(cheaper, replace(HOSE, if_needed=False, net=D("30.00"))) == [("need", D("2.00"))]
    assert why(replace(LABOR, net=D("105.00")), replace(HOSE, net=D("10.00"))) == [("amount", D("5.00"))]


def test_a_need_that_named_its_part_or_its_condition_keeps_them() -> None:
    named = replace(HOSE, item=7, thing=7)
    assert [row.key for row in beyond(offer(1, named), work(1, replace(named, item=9, thing=9)))] == ["part"]
    assert beyond(offer(1, named), work(1, replace(named, item=8, what="BH-8"))) == ()  # its successor
    used = replace(HOSE, condition="new")
    assert [row.key for row in beyond(offer(1, used), work(1, replace(used, condition="rebuilt")))] == ["part"]


@given(NETS, CENTS, st.lists(CENTS, min_size=2, max_size=2), CENTS)
def test_what_passes_keeps_to_each_need_and_to_the_rest_by_itself(
    nets: tuple[Decimal, Decimal], most: Decimal, billed: list[Decimal], used: Decimal
) -> None:
    need = line(19, most, "Hose", if_needed=True)
    consent = consent_from([record(1, (offer(1, *two(1, nets), need), AUTHORIZED))], [work(1, *two(1, nets), need)])
    bill = work(1, *two(1, (billed[0], billed[1])), replace(need, net=used, if_needed=False))
    assert (excess_of(consent, [bill]) == ()) == (sum(billed) <= sum(nets) and used <= most)


def test_a_new_line_at_nothing_or_below_needs_no_yes() -> None:
    assert beyond(A, work(1, *A.lines, line(12, "0.00", "Rag"), line(13, "-5.00", "Goodwill"))) == ()
    assert [row.key for row in beyond(A, work(1, line(12, "0.01", "Rag")))] == ["added"]


def test_a_limit_with_tax_counts_the_taxes_of_its_paper() -> None:
    # 100.00 at 20 % is 120.00 (VAT, United Kingdom: rate from memory); the same net in an untaxed class is less.
    taxes = (Tax(D("0.2"), frozenset({"parts"})), Tax(D(0), frozenset({"labor"})))
    yes = offer(1, line(11, "100.00"), taxes=taxes, with_tax=True)
    assert yes.cost(yes.bases) == D("120.00")
    assert beyond(yes, work(1, line(11, "110.00", tax_class="labor"))) == ()
    assert [row.amount for row in beyond(yes, work(1, line(11, "100.01")))] == [D("0.01")]
    assert beyond(replace(yes, with_tax=False), work(1, line(11, "110.00", tax_class="labor")))[0].key == "amount"


SUPPLIES = JobWide("Supplies", frozenset({"part", "labor"}), share=D("0.05"), at_most=D("12.00"))
WASTE = JobWide("Waste fee", frozenset({"fluid"}), fee=D("3.00"))


def wide(*charges: tuple[str, str | Decimal]) -> Work:
    """The charges of the whole job as they stand on a bill."""
    return Work(JOB_WIDE, "The whole job", tuple(Line(None, "charge", what, D(net)) for what, net in charges))


def test_charges_of_the_whole_job_go_with_any_yes_worked_out_on_what_is_billed() -> None:
    # 5 % of 169.73 is 8.4865, so 8.49; of 100.00 it is 5.00; of 169.73 and 135.18 it would be 15.25 (by hand).
    both = consent_from(
        [record(1, (A, AUTHORIZED), (B, AUTHORIZED), job_wide=(SUPPLIES,))], [work(1, *A.lines), work(2, *B.lines)]
    )
    assert over(both, work(1, *A.lines), wide(("Supplies", "8.49"))) == []
    assert over(both, work(1, *A.lines), wide(("Supplies", "8.50"))) == [(None, D("0.01"))]
    assert over(both, work(1, line(11, "100.00")), wide(("Supplies", "5.01"))) == [(None, D("0.01"))]
    assert over(both, work(1, *A.lines), work(2, *B.lines), wide(("Supplies", "12.01"))) == [(None, D("0.01"))]
    assert over(both, wide(("Supplies", "0.01"))) == [(None, D("0.01"))]  # nothing is billed: nothing lends


def test_a_charge_of_the_whole_job_that_nobody_named_is_not_billed() -> None:
    consent = consent_from([record(1, (A, AUTHORIZED), job_wide=(SUPPLIES,))], [work(1, *A.lines)])
    assert over(consent, work(1, *A.lines), wide(("Waste fee", "3.00"))) == [(None, D("3.00"))]
    assert over(consent, work(1, *A.lines), wide(("Supplies", "8.49"), ("Supplies", "8.49"))) == [(None, D("8.49"))]
    fluid = offer(2, line(21, "20.00", kind="fluid"))
    later = consent_from(
        [record(1, (A, AUTHORIZED)), record(2, (fluid, AUTHORIZED), job_wide=(WASTE,))], [work(2, *fluid.lines)]
    )
    assert over(later, work(2, *fluid.lines), wide(("Waste fee", "3.00"))) == []
    none = consent_from([record(1, (A, AUTHORIZED), job_wide=(SUPPLIES,)), record(2, (A, WITHDRAWN))], [])
    assert over(none, wide(("Supplies", "1.00"))) == [(None, D("1.00"))]


def test_the_slack_may_cover_a_charge_of_the_whole_job() -> None:
    consent = consent_from([record(1, (A, AUTHORIZED), slack="1", job_wide=(SUPPLIES,))], [work(1, *A.lines)])
    assert over(consent, work(1, *A.lines), wide(("Supplies", "9.49"))) == []
    assert over(consent, work(1, *A.lines), wide(("Supplies", "9.50"))) == [(None, D("1.01"))]


def test_a_charge_of_the_whole_job_is_never_above_what_it_came_to_on_the_marked_work() -> None:
    yes = offer(1, line(11, "100.00"))
    consent = consent_from([record(1, (yes, AUTHORIZED), slack="10", job_wide=(SUPPLIES,))], [work(1, *yes.lines)])
    dearer = work(1, line(11, "110.00"))  # within the slack; 5 % of it would be 5.50, of what was marked it is 5.00
    assert over(consent, dearer, wide(("Supplies", "5.00"))) == []
    assert over(consent, dearer, wide(("Supplies", "5.50"))) == [(1, D("10.00")), (None, D("0.50"))]


@given(RECORDS, WORKS, CENTS)
def test_what_passes_of_a_job_wide_charge_is_its_share_of_the_bill_and_of_the_yes(
    records: list[Record], bill: list[Work], charged: Decimal
) -> None:
    """Recomputed in fractions: five hundredths of what is billed, and of what was authorized of the same work."""
    strict = [replace(row, slack=D(0), job_wide=(SUPPLIES,)) for row in records]
    consent = consent_from(strict, bill)
    if excess_of(consent, [*bill, wide(("Supplies", charged))]):
        return
    yeses = [consent.of(row.operation).yes for row in bill]
    for base in (sum(map(net, bill), D(0)), sum((yes.net for yes in yeses if yes is not None), D(0))):
        assert Fraction(charged) <= Fraction(base) / 20 + Fraction(1, 200)


def test_of_alternatives_the_one_not_chosen_needs_no_answer() -> None:
    consent = consent_from([record(1, (B, AUTHORIZED))], [work(1, *A.lines), work(2, *B.lines, alternative_to=1)])
    assert (consent.of(1).reason, consent.of(1).asks) == ("alternative", False)
