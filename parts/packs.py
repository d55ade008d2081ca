"""Which packs to buy so that the need is covered for the least money. Pure: no Django here.

A need of 7.2 L can be met by bottles, by a pail, or by both; sizes in liters and in quarts do not divide
each other, so the answer is searched for, exactly and in whole numbers: an unbounded knapsack turned round
to cover, by branch and bound. Packs are tried from the lowest price a unit upward, a situation that was
reached before for no more money is not looked at again, and what the rest must cost at least cuts off what
cannot win.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext
from functools import cmp_to_key
from math import gcd

from garage.numbers import WORKING, not_negative, positive

PLACES = 40  # finer than any size or price; a longer figure would only make huge whole numbers
SWAPS = 1000  # how many packs of one size are weighed against another size; more cuts nothing off in practice

# What makes one choice better than another: cost, leftover, packs, and minus the counts in order of label.
Rank = tuple[int, int, int, tuple[int, ...]]


@dataclass(frozen=True)
class PackOffer:
    """A size in which the item can be bought, in the item's base unit, and the price of one such pack."""

    label: str
    size: Decimal
    price: Decimal


@dataclass(frozen=True)
class PackChoice:
    """How many packs of each label to buy (only those bought), their cost, and what is then left over."""

    counts: dict[str, int]
    cost: Decimal
    bought: Decimal
    leftover: Decimal


def cheapest_packs(need: Decimal, offers: Iterable[PackOffer], on_hand: Decimal | int = 0) -> PackChoice:
    """The packs that cover `need`, less what is on hand, for the least cost; all in the item's base unit.

    Ties go to the least leftover, then to the fewest packs, then to the label that comes first. Leftover is
    on hand + bought − need. Raises ValueError for a size or price of zero or less, a label given twice, a
    negative need or stock, and for a need with nothing on offer.
    """
    wanted = not_negative(need, "Need")
    stock = not_negative(on_hand, "On hand")
    known = sorted(_checked(offers), key=lambda offer: offer.label)
    _check_places([(wanted, "Need"), (stock, "On hand")])
    with localcontext(WORKING):
        missing = wanted - stock
        if missing > 0 and not known:
            raise ValueError("Offers are missing: there is a need and nothing to buy.")
        counts = search(missing, known).counts if missing > 0 else [0] * len(known)
        chosen = [(offer, count) for offer, count in zip(known, counts, strict=True) if count]
        bought = sum((offer.size * count for offer, count in chosen), Decimal(0))
        return PackChoice(
            counts={offer.label: count for offer, count in chosen},
            cost=sum((offer.price * count for offer, count in chosen), Decimal(0)),
            bought=bought,
            leftover=stock + bought - wanted,
        )


def _checked(offers: Iterable[PackOffer]) -> list[PackOffer]:
    checked: list[PackOffer] = []
    labels: set[str] = set()
    for number, offer in enumerate(offers, start=1):
        if not offer.label:
            raise ValueError(f"Label of offer {number} is missing.")
        if offer.label in labels:
            raise ValueError(f'Label "{offer.label}" is given twice.')
        labels.add(offer.label)
        size = positive(offer.size, f'Size of "{offer.label}"')
        price = positive(offer.price, f'Price of "{offer.label}"')
        _check_places([(size, f'Size of "{offer.label}"'), (price, f'Price of "{offer.label}"')])
        checked.append(PackOffer(offer.label, size, price))
    return checked


def _check_places(figures: Iterable[tuple[Decimal, str]]) -> None:
    for figure, name in figures:
        if _places(figure) > PLACES:
            raise ValueError(f"{name} has more than {PLACES} decimal places.")


def _places(figure: Decimal) -> int:
    exponent = figure.as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def search(missing: Decimal, offers: Sequence[PackOffer]) -> "Search":
    """Run the search for `missing` (above zero) over offers in order of label, in whole numbers."""
    need, *sizes = _whole([missing, *(offer.size for offer in offers)])
    prices = _whole([offer.price for offer in offers])
    unit, coin = gcd(*sizes), gcd(*prices)
    found = Search(-(-need // unit), [size // unit for size in sizes], [price // coin for price in prices])
    found.run()
    return found


def _whole(figures: Sequence[Decimal]) -> list[int]:
    """Scale figures by one power of ten so that all of them are whole."""
    scale = max(_places(figure) for figure in figures)
    return [int(figure.scaleb(scale, context=WORKING)) for figure in figures]


class Search:
    """Branch and bound over whole numbers of packs.

    `states` counts the situations looked into, for the tests that hold the work down; `counts` is the
    answer, in the order in which the packs were given, which is the order of the last tie.
    """

    def __init__(self, need: int, sizes: Sequence[int], prices: Sequence[int]) -> None:
        self.need, self.sizes, self.prices = need, sizes, prices
        self.order = sorted(range(len(sizes)), key=cmp_to_key(self._cheaper_a_unit))
        self.most = [self._most_useful(pack) for pack in range(len(sizes))]
        self.largest = [max(sizes[pack] for pack in self.order[step:]) for step in range(len(sizes))]
        self.grain = [gcd(*(sizes[pack] for pack in self.order[step:])) for step in range(len(sizes))]
        self.states = 0
        self.counts: list[int] = []
        self._trial = [0] * len(sizes)
        self._best: Rank | None = None
        self._reached: dict[tuple[int, int], tuple[int, int, tuple[int, ...]]] = {}

    def run(self) -> None:
        self._cover(0, self.need, 0, 0)

    def _cheaper_a_unit(self, one: int, other: int) -> int:
        """Lowest price a unit first, then the largest; in whole numbers, as a quotient would be rounded."""
        by_price = self.prices[one] * self.sizes[other] - self.prices[other] * self.sizes[one]
        return by_price or self.sizes[other] - self.sizes[one]

    def _most_useful(self, pack: int) -> int:
        """How many of `pack` a best choice can hold: one less than the first better swapped."""
        enough = -(-self.need // self.sizes[pack])
        for many in range(1, min(enough, SWAPS) + 1):
            if any(self._swaps(pack, many, other) for other in range(len(self.sizes)) if other != pack):
                return many - 1
        return enough

    def _swaps(self, pack: int, many: int, other: int) -> bool:
        """Whether some number of `other` covers as much as `many` of `pack` and is the better choice."""
        size = many * self.sizes[pack]
        few = -(-size // self.sizes[other])
        saved = many * self.prices[pack] - few * self.prices[other]
        if saved:
            return saved > 0
        return few * self.sizes[other] == size and (few, other) < (many, pack)

    def _cover(self, step: int, rest: int, cost: int, packs: int) -> None:
        """Cover `rest` with the packs from `step` on, after `packs` packs for `cost`."""
        if rest <= 0:
            self._keep_if_best((cost, -rest, packs, self._labels()))
            return
        if step == len(self.order) or self._been_here(step, rest, (cost, packs, self._labels())):
            return
        self.states += 1
        pack = self.order[step]
        size, price, most = self.sizes[pack], self.prices[pack], self.most[pack]
        enough = -(-rest // size)
        fewest = enough if step + 1 == len(self.order) else 0
        for count in range(min(enough, most), fewest - 1, -1):
            left, paid = rest - count * size, cost + count * price
            if left > 0 and self._hopeless(step + 1, left, paid):
                break
            if left <= 0 or self._may_win(step + 1, left, paid, packs + count):
                self._trial[pack] = count
                self._cover(step + 1, left, paid, packs + count)
        self._trial[pack] = 0

    def _hopeless(self, step: int, rest: int, cost: int) -> bool:
        """Whether the rest costs too much even at the next price a unit; with fewer packs before, more so."""
        return self._best is not None and cost + self._at_unit_price(self.order[step], rest) > self._best[0]

    def _may_win(self, step: int, rest: int, cost: int, packs: int) -> bool:
        """Whether the least that the rest can cost and count still allows a choice as good as the best.

        The rest is covered in steps of the grain (the common divisor of the sizes), either by one pack that
        is large enough or by smaller ones: for at least its price, and for at least some pack's price a unit.
        """
        if self._best is None:
            return True
        covered = -(-rest // self.grain[step]) * self.grain[step]
        least = min(max(self.prices[pack], self._at_unit_price(pack, covered)) for pack in self.order[step:])
        fewest = -(-covered // self.largest[step])
        return (cost + least, covered - rest, packs + fewest) <= self._best[:3]

    def _at_unit_price(self, pack: int, rest: int) -> int:
        return -(-rest * self.prices[pack] // self.sizes[pack])

    def _been_here(self, step: int, rest: int, rank: tuple[int, int, tuple[int, ...]]) -> bool:
        before = self._reached.get((step, rest))
        if before is not None and before <= rank:
            return True
        self._reached[step, rest] = rank
        return False

    def _keep_if_best(self, rank: Rank) -> None:
        if self._best is None or rank < self._best:
            self._best = rank
            self.counts = list(self._trial)

    def _labels(self) -> tuple[int, ...]:
        return tuple(-count for count in self._trial)
