"""The laws of a write-off, held against bills that nobody would think of: only what was authorized is left.

The rule is the design's own, after Cal. Bus. & Prof. Code 9884.9(a) and 16 CCR 3354: nothing is charged beyond what
was authorized. Which class it comes off, and to the cent, is the house's own.
"""

from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from hypothesis import assume, given
from hypothesis import strategies as st

from jobs.consent import AUTHORIZED, Record, Said, consent_from, excess_of
from jobs.offers import WRITE_OFF, Line, Offer, Tax, Work
from jobs.write_offs import to_take_off

D = Decimal
CLASSES = ("parts", "labor", "charge", "none")
RATES = {"parts": D("0.0725"), "labor": D("0"), "charge": D("0.2")}
TAXES = tuple(Tax(rate, frozenset({name})) for name, rate in RATES.items())
NETS = st.integers(0, 30000).map(lambda cents: D(cents) / 100)
LINES = st.lists(st.tuples(NETS, st.sampled_from(CLASSES)), min_size=1, max_size=5)
CHANGES = st.sampled_from(["as it was", "dearer", "cheaper", "gone", "another part", "another class"])


def on_paper(key: int, net: Decimal, tax_class: str, **more: Any) -> Line:
    return Line(key, "part", f"Part {key}", net, tax_class, condition="new", **more)


@st.composite
def bills(draw: st.DrawFn) -> tuple[Offer, Work]:
    """An offer that was said yes to, and its operation as it would be billed after any changes of the garage."""
    offered = [on_paper(key, *row) for key, row in enumerate(draw(LINES), start=1)]
    exempt, with_tax = draw(st.booleans()), draw(st.booleans())
    yes = Offer(1, "Brakes", tuple(offered), taxes=TAXES, exempt=exempt, with_tax=with_tax)
    lines = [line for row in offered if (line := changed(draw, row)) is not None]
    added = draw(st.lists(st.tuples(NETS, st.sampled_from((*CLASSES, "sublet"))), max_size=2))
    lines += [on_paper(key, *row) for key, row in enumerate(added, start=50)]
    goodwill = draw(st.lists(st.tuples(NETS.filter(bool), st.sampled_from(CLASSES)), max_size=1))
    lines += [replace(on_paper(70, -net, name), kind="charge", finer="goodwill") for net, name in goodwill]
    return yes, Work(1, "Brakes", tuple(lines), exempt=exempt and draw(st.booleans()))


def changed(draw: st.DrawFn, line: Line) -> Line | None:
    return {
        "as it was": lambda: line,
        "dearer": lambda: replace(line, net=line.net + draw(NETS)),
        "cheaper": lambda: replace(line, net=(line.net / 2).quantize(D("0.01"))),
        "gone": lambda: None,
        "another part": lambda: replace(line, what="Part of another maker", net=draw(NETS)),
        "another class": lambda: replace(line, tax_class=draw(st.sampled_from((*CLASSES, "sublet")))),
    }[draw(CHANGES)]()


def by_class(work: Work) -> dict[str, Decimal]:
    sums: dict[str, Decimal] = {}
    for line in work.lines:
        sums[line.tax_class] = sums.get(line.tax_class, D(0)) + line.net
    return sums


def tax(work: Work) -> Decimal:
    """Counted the long way, without the code that is tried."""
    rates = {**RATES, "none": D(0), "sublet": D("0.1")}
    cent = {"exp": D("0.01"), "rounding": ROUND_HALF_UP}
    return sum((((net * rates[name]).quantize(**cent)) for name, net in by_class(work).items()), D(0))  # type: ignore[arg-type]


@given(bills())
def test_after_the_act_a_bill_holds_only_what_was_authorized(bill: tuple[Offer, Work]) -> None:
    yes, work = bill
    consent = consent_from([Record(1, (Said(yes, AUTHORIZED),))], [work])
    assume(excess_of(consent, [work]))
    taken = to_take_off(yes, work)
    written = [
        replace(on_paper(90 + at, -row.amount, row.tax_class), kind="charge", finer=WRITE_OFF)
        for at, row in enumerate(taken)
    ]
    after = replace(work, lines=(*work.lines, *written))
    assert all(row.amount > 0 for row in taken) and len({row.tax_class for row in taken}) == len(taken)
    assert taken
    assert excess_of(consent_from([Record(1, (Said(yes, AUTHORIZED),))], [after]), [after]) == ()
    net, agreed = sum((line.net for line in after.lines), D(0)), sum((line.net for line in yes.lines), D(0))
    if not yes.with_tax:
        assert max(D(0), net - agreed) == 0
    before_sums = by_class(work)
    for name, total in by_class(after).items():
        assert total >= min(D(0), before_sums[name])
    unheard = {line.key: line for line in work.lines if line.key not in {row.key for row in yes.lines} and line.net > 0}
    for name in {line.tax_class for line in unheard.values()}:
        new = sum((line.net for line in unheard.values() if line.tax_class == name), D(0))
        assert by_class(after)[name] <= max(D(0), before_sums[name] - new)
    if not work.exempt:
        assert tax(after) <= tax(work)
        if any(row.amount >= 1 and row.tax_class in ("parts", "charge") for row in taken):
            assert tax(after) < tax(work)
    assert to_take_off(yes, after) == taken  # what was written off before changes nothing


@given(bills())
def test_nothing_more_is_taken_off_than_has_to_be(bill: tuple[Offer, Work]) -> None:
    """To three cents: a cent of a base moves its tax by up to another, and each class is rounded by itself."""
    yes, work = bill
    record = [Record(1, (Said(yes, AUTHORIZED),))]
    assume(excess_of(consent_from(record, [work]), [work]))
    taken = to_take_off(yes, work)
    for short in taken:
        amounts = [row.amount - (min(row.amount, D("0.03")) if row == short else 0) for row in taken]
        lines = [
            replace(on_paper(90 + at, -amount, row.tax_class), kind="charge", finer=WRITE_OFF)
            for at, (row, amount) in enumerate(zip(taken, amounts, strict=True))
            if amount
        ]
        less = replace(work, lines=(*work.lines, *lines))
        assert short.amount < D("0.03") or excess_of(consent_from(record, [less]), [less])
