"""What a job's operations come to: priced lines, subtotals, taxes. Pure: no Django here."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_FLOOR, Decimal

from invoicing.totals import CENT, NOTHING, UNTAXED, ChargeLine, TaxRate, line_net, total
from jobs.amounts import base_unit, charged_quantity, in_base

LABOR_KINDS = frozenset({"labor"})
PARTS_KINDS = frozenset({"part", "fluid"})


class NoRate(ValueError):
    """A tax class is charged that has no rate on the day; `tax_class` names it."""

    def __init__(self, tax_class: str) -> None:
        self.tax_class = tax_class
        super().__init__(f'Tax class "{tax_class}" has no rate.')


@dataclass(frozen=True)
class Charge:
    """One line with its price, in the unit it is charged in; `net` is rounded once.

    `line` is the primary key of the sheet's line, `under` that of the one it hangs on; `base_quantity` is exact.
    `if_needed` says that its figures are the most it may come to, `fitted` what the fitted number stands in for.
    """

    line: int | None
    kind: str
    description: str
    quantity: Decimal
    unit: str
    unit_price: Decimal
    tax_class: str
    net: Decimal
    discount: Decimal = Decimal(0)
    finer: str = ""
    condition: str = ""
    typed: str = ""
    sublet_to: str = ""
    item_id: int | None = None
    base_quantity: Decimal = Decimal(0)
    under: int | None = None
    if_needed: bool = False
    fitted: str = ""

    def at(self, quantity: Decimal) -> "Charge":
        """The same charge for another quantity of its unit; what was typed holds only for its own."""
        if quantity == self.quantity:
            return self
        return self._for(quantity, in_base(quantity, self.unit))

    def drawn(self, base_quantity: Decimal) -> "Charge":
        """The same charge for what left the shelf, brought once into the unit it is charged in."""
        if base_quantity == self.base_quantity:
            return self
        quantity = charged_quantity(base_quantity, base_unit(self.unit), self.unit)
        typed = self.typed if quantity == self.quantity else ""
        return replace(self._for(quantity, base_quantity), typed=typed)

    def _for(self, quantity: Decimal, base_quantity: Decimal) -> "Charge":
        net = line_net(quantity, self.unit_price, self.discount)
        return replace(self, quantity=quantity, base_quantity=base_quantity, typed="", net=net)


@dataclass(frozen=True)
class OperationCharges:
    """An operation with its charges; `counted` is False for an alternative that is only offered beside another.

    With `advance`, the key of an advance invoice, it is no work: it takes that invoice off.
    """

    operation: int | None
    position: int
    title: str
    concern: str
    cause: str
    decision: str
    counted: bool
    charges: tuple[Charge, ...]
    alternative_to: int | None = None
    correction: str = ""
    advance: int | None = None

    @property
    def net(self) -> Decimal:
        """What the operation costs before tax."""
        return sum((charge.net for charge in self.charges), NOTHING)


#: A class that a tax is not on: it has no rate to be missing and no row on a paper.
OUTSIDE = "outside"


@dataclass(frozen=True)
class ClassRate:
    """What one tax asks of one class on a day. `tax` is its key: it stays when rate or name change.

    `treatment` is taxed, zero, exempt or outside; `reason` is printed where it is zero-rated or exempt.
    """

    tax: int
    label: str
    tax_class: str
    rate: Decimal
    treatment: str = "taxed"
    reason: str = ""


@dataclass(frozen=True)
class TaxSum:
    """One tax at one rate: what it is on, the money, and the tax classes it was counted on.

    With `advance`, the key of an advance invoice, it is the tax which that one stated, taken off.
    """

    tax_key: int
    label: str
    base: Decimal
    rate: Decimal
    tax: Decimal
    classes: tuple[str, ...]
    treatment: str = "taxed"
    reason: str = ""
    advance: int | None = None


@dataclass(frozen=True)
class Sums:
    """Labor, parts with fluid, and the rest before tax; the taxes; and all of it.

    `advanced` is what of the rest takes advance invoices off, below zero.
    """

    labor: Decimal
    parts: Decimal
    other: Decimal
    net: Decimal
    taxes: tuple[TaxSum, ...]
    tax: Decimal
    gross: Decimal
    advanced: Decimal = NOTHING

    @property
    def charges(self) -> Decimal:
        """Sublet and charges: the rest without what was invoiced in advance."""
        return self.other - self.advanced


def sum_up(charges: Iterable[Charge], rates: Sequence[ClassRate], *, exempt: bool = False) -> Sums:
    """Add up charges and their taxes; an exempt customer pays none.

    The same tax at the same rate is one row over all classes it is on, whatever else is on them, so that it is
    rounded once on a paper. Raises NoRate for a class without a rate.
    """
    charges = list(charges)
    return with_taxes(charges, () if exempt else tuple(_taxes(charges, rates)))


def with_taxes(charges: Iterable[Charge], taxes: tuple[TaxSum, ...]) -> Sums:
    """Add up charges, with taxes that are worked out already."""
    charges = list(charges)
    net, tax = _sum(charges), sum((row.tax for row in taxes), NOTHING)
    labor = _sum(charge for charge in charges if charge.kind in LABOR_KINDS)
    parts = _sum(charge for charge in charges if charge.kind in PARTS_KINDS)
    return Sums(labor, parts, net - labor - parts, net, taxes, tax, net + tax)


def _sum(charges: Iterable[Charge]) -> Decimal:
    return sum((charge.net for charge in charges), NOTHING)


def _taxes(charges: list[Charge], rates: Sequence[ClassRate]) -> Iterable[TaxSum]:
    """A row for each tax and rate, in the order in which the classes are charged."""
    joined: dict[ClassRate, list[str]] = {}
    for tax_class in dict.fromkeys(charge.tax_class for charge in charges if charge.tax_class != UNTAXED):
        carried = [rate for rate in rates if rate.tax_class == tax_class]
        if not carried:
            raise NoRate(tax_class)
        for rate in carried:
            if rate.treatment != OUTSIDE:
                joined.setdefault(replace(rate, tax_class=""), []).append(tax_class)
    for rate, classes in joined.items():
        base = _sum(charge for charge in charges if charge.tax_class in classes)
        yield TaxSum(
            rate.tax, rate.label, base, rate.rate, tax_on(base, rate.rate), tuple(classes), rate.treatment, rate.reason
        )


def tax_on(base: Decimal, rate: Decimal) -> Decimal:
    """A tax on what it is on, rounded once by the rule of `total`."""
    (row,) = total([ChargeLine(base, "all")], [TaxRate("all", "tax", rate)]).taxes
    return row.tax


def shares_of_tax(operations: Sequence[OperationCharges], taxes: Iterable[TaxSum]) -> list[Decimal]:
    """What each operation bears of the taxes on all of them, in cents; together exactly the taxes.

    Each tax is shared out by itself (`apportioned`), by what the operation has in its classes.
    """
    shares = [NOTHING for _ in operations]
    for tax in taxes:
        bases = [_sum(charge for charge in row.charges if charge.tax_class in tax.classes) for row in operations]
        parts = apportioned(tax.tax, [base * tax.rate for base in bases])
        shares = [share + part for share, part in zip(shares, parts, strict=True)]
    return shares


def apportioned(total: Decimal, exact: Sequence[Decimal]) -> list[Decimal]:
    """Shares in cents that add up to `total`, each less than a cent from its exact one: by the largest remainder.

    Every share is rounded down; the cents that are then missing go one each to those with the largest rest, of equal
    rests to the first (the method of largest remainders, Hamilton's; from memory). Raises ValueError when `total` is
    not the sum of the exact shares, rounded to a cent.
    """
    down = [share.quantize(CENT, ROUND_FLOOR) for share in exact]
    missing = int((total - sum(down, NOTHING)) / CENT)
    if abs(total - sum(exact, Decimal(0))) >= CENT or total % CENT:
        raise ValueError(f"{total} is not what {len(exact)} shares come to.")
    by_rest = sorted(range(len(exact)), key=lambda place: down[place] - exact[place])
    favored = set(by_rest[:missing])
    return [share + CENT if place in favored else share for place, share in enumerate(down)]


def counted(operations: Iterable[OperationCharges]) -> list[Charge]:
    """The charges that are in the sums."""
    return [charge for operation in operations if operation.counted for charge in operation.charges]


def only_if_needed(charges: Iterable[Charge]) -> list[Charge]:
    """Those that may turn out not to be needed."""
    return [charge for charge in charges if charge.if_needed]


def choose(operations: Sequence[OperationCharges]) -> list[OperationCharges]:
    """Mark which of several alternatives is counted: the authorized one, else the first that was not declined."""
    groups: dict[int | None, list[OperationCharges]] = {}
    for operation in operations:
        groups.setdefault(operation.alternative_to or operation.operation, []).append(operation)
    chosen: set[int | None] = set()
    for group in groups.values():
        ordered = sorted(group, key=lambda row: (row.decision != "authorized", row.alternative_to is not None))
        chosen.update(row.operation for row in ordered[:1])
        chosen.update(row.operation for row in group if row.decision == "authorized")
    return [replace(operation, counted=operation.operation in chosen) for operation in operations]
