"""The laws of consent, held against sequences of records and sheets that nobody would think of.

The rules are the design's own, after 16 CCR 3354 (additions and other parts ask for consent even at the same price).
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.consent import (
    AUTHORIZED,
    DECLINED,
    WITHDRAWN,
    Consent,
    Record,
    Said,
    consent_from,
    excess_of,
)
from jobs.offers import Line, Offer, Work, beyond

D = Decimal
CENTS = st.integers(0, 400).map(lambda cents: D(cents) / 100)
OPERATIONS = (1, 2, 3)
WHEN = st.datetimes(timezones=st.just(dt.UTC))


def line(key: int, net: str | Decimal, what: str = "Pad set", **more: object) -> Line:
    return Line(key, "part", what, D(net), **{"tax_class": "parts", "condition": "new", **more})  # type: ignore[arg-type]


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
    yes = offer(1, before, rates={"parts": D("0.0725"), "labor": D(0)})
    assert [row.key for row in beyond(yes, work(1, replace(before, **change)))] == asks  # type: ignore[arg-type]


def test_a_new_line_at_nothing_or_below_needs_no_yes() -> None:
    assert beyond(A, work(1, *A.lines, line(12, "0.00", "Rag"), line(13, "-5.00", "Goodwill"))) == ()
    assert [row.key for row in beyond(A, work(1, line(12, "0.01", "Rag")))] == ["added"]


def test_a_limit_with_tax_counts_the_taxes_of_its_paper() -> None:
    # 100.00 at 20 % is 120.00 (VAT, United Kingdom: rate from memory); the same net in an untaxed class is less.
    yes = offer(1, line(11, "100.00"), rates={"parts": D("0.2"), "labor": D(0)}, with_tax=True)
    assert yes.cost(yes.bases) == D("120.00")
    assert beyond(yes, work(1, line(11, "110.00", tax_class="labor"))) == ()
    assert [row.amount for row in beyond(yes, work(1, line(11, "100.01")))] == [D("0.01")]
    assert beyond(replace(yes, with_tax=False), work(1, line(11, "110.00", tax_class="labor")))[0].key == "amount"


def test_charges_of_the_whole_job_go_with_any_yes_up_to_what_they_came_to() -> None:
    consent = consent_from([record(1, (A, AUTHORIZED), job_wide=D("8.00"))], [work(1, *A.lines)])
    wide = Work(None, "Supplies", (Line(None, "charge", "Supplies", D("8.00")),))
    assert over(consent, wide) == []
    assert over(consent, replace(wide, lines=(replace(wide.lines[0], net=D("8.01")),))) == [(None, D("0.01"))]


def test_of_alternatives_the_one_not_chosen_needs_no_answer() -> None:
    consent = consent_from([record(1, (B, AUTHORIZED))], [work(1, *A.lines), work(2, *B.lines, alternative_to=1)])
    assert (consent.of(1).reason, consent.of(1).asks) == ("alternative", False)
