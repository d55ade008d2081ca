"""What a deposit comes to before tax and in tax, where the tax is due when it is received. Pure: no Django here."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from garage.money import round_money
from invoicing.sums import Sums
from invoicing.totals import NOTHING, UNTAXED


@dataclass(frozen=True)
class Share:
    """The part of a deposit that is for one group of tax classes: net, and each tax with label, rate and money."""

    classes: tuple[str, ...]
    net: Decimal
    taxes: tuple[tuple[str, Decimal, Decimal], ...]

    @property
    def gross(self) -> Decimal:
        """Net and taxes of this share."""
        return self.net + sum((tax for _label, _rate, tax in self.taxes), NOTHING)


def split(amount: Decimal, work: Sums) -> list[Share]:
    """Split a deposit, tax included, over the tax classes of the work that it is for, in proportion to their gross.

    The shares come to the deposit to the cent. The tax within a share is share × rate / (1 + all rates), rounded
    half-up (the fraction of a price that holds its tax). ValueError for work that comes to nothing.
    """
    groups: dict[tuple[str, ...], list[tuple[str, Decimal]]] = {}
    gross: dict[tuple[str, ...], Decimal] = {}
    for row in work.taxes:
        groups.setdefault(row.classes, []).append((row.label, row.rate))
        gross[row.classes] = gross.get(row.classes, row.base) + row.tax
    untaxed = work.gross - sum(gross.values(), NOTHING)
    if untaxed:
        groups[(UNTAXED,)], gross[(UNTAXED,)] = [], untaxed
    if work.gross <= 0:
        raise ValueError("The work comes to nothing.")
    return [_share(classes, groups[classes], part) for classes, part in _portions(amount, gross, work.gross)]


def _portions(
    amount: Decimal, gross: dict[tuple[str, ...], Decimal], whole: Decimal
) -> Iterable[tuple[tuple[str, ...], Decimal]]:
    """The amount in the proportion of the groups; the last one takes what rounding left."""
    left, names = amount, list(gross)
    for name in names:
        part = left if name == names[-1] else round_money(amount * gross[name] / whole)
        left -= part
        if part:
            yield name, part


def _share(classes: tuple[str, ...], carried: list[tuple[str, Decimal]], part: Decimal) -> Share:
    all_rates = sum((rate for _label, rate in carried), Decimal(0))
    taxes = tuple((label, rate, round_money(part * rate / (1 + all_rates))) for label, rate in carried)
    return Share(classes, part - sum((tax for _label, _rate, tax in taxes), NOTHING), taxes)
