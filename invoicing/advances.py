"""What a deposit comes to before tax and in tax, where the tax is due when it is received. Pure: no Django here."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from garage.money import round_money
from invoicing.sums import Charge, OperationCharges, Sums, TaxSum, with_taxes
from invoicing.totals import NOTHING


@dataclass(frozen=True)
class Share:
    """The part of a deposit that is for the tax classes which bear the same taxes: what it comes to before tax."""

    classes: tuple[str, ...]
    net: Decimal


def split(amount: Decimal, charges: Iterable[Charge], taxes: Sequence[TaxSum]) -> tuple[list[Share], list[TaxSum]]:
    """Split a deposit, tax included, over the work it is for, in proportion to what each class comes to with tax.

    `taxes` are the rows of that work. Each tax is worked out of the amount, share × rate / (1 + all rates), and
    rounded half-up once; what is not tax is net, and the largest share takes the cent that rounding leaves. So the
    net shares and the taxes come to the deposit. ValueError for work that comes to nothing.
    """
    groups = _groups(charges, taxes)
    whole = sum(groups.values(), NOTHING)
    if whole <= 0:
        raise ValueError("The work comes to nothing.")
    exact = {classes: amount * gross / whole / (1 + _rates(classes, taxes)) for classes, gross in groups.items()}
    rows = []
    for row in taxes:
        on = [classes for classes in exact if classes[0] in row.classes]
        if on:
            base = sum((exact[classes] for classes in on), NOTHING)
            named = tuple(name for classes in on for name in classes)
            rows.append(replace(row, classes=named, base=base, tax=round_money(base * row.rate)))
    shares = _rounded(exact, amount - sum((row.tax for row in rows), NOTHING))
    return shares, [replace(row, base=_net_on(shares, row)) for row in rows]


def _groups(charges: Iterable[Charge], taxes: Sequence[TaxSum]) -> dict[tuple[str, ...], Decimal]:
    """The classes of the work that bear the same taxes, with what they come to; what gives money back is no work."""
    nets: dict[str, Decimal] = {}
    for charge in charges:
        nets[charge.tax_class] = nets.get(charge.tax_class, NOTHING) + charge.net
    alike: dict[tuple[int, ...], list[str]] = {}
    for name, net in nets.items():
        if net > 0:
            alike.setdefault(tuple(n for n, row in enumerate(taxes) if name in row.classes), []).append(name)
    groups = [tuple(names) for names in alike.values()]
    return {names: sum((nets[name] for name in names), NOTHING) * (1 + _rates(names, taxes)) for names in groups}


def _rates(classes: tuple[str, ...], taxes: Iterable[TaxSum]) -> Decimal:
    """All rates on a group of classes together."""
    return sum((row.rate for row in taxes if classes[0] in row.classes), Decimal(0))


def _rounded(exact: dict[tuple[str, ...], Decimal], net: Decimal) -> list[Share]:
    largest = max(exact, key=lambda classes: exact[classes])
    rounded = {classes: round_money(part) for classes, part in exact.items()}
    rounded[largest] += net - sum(rounded.values(), NOTHING)
    return [Share(classes, part) for classes, part in rounded.items() if part]


def _net_on(shares: Iterable[Share], row: TaxSum) -> Decimal:
    return sum((share.net for share in shares if share.classes[0] in row.classes), NOTHING)


def less(work: Sums, taken_off: Sequence[OperationCharges], taxes: Iterable[TaxSum]) -> Sums:
    """What is left of an invoice's work when advance invoices are taken off: their net, and their taxes below zero."""
    charges = [charge for operation in taken_off for charge in operation.charges]
    off = with_taxes(charges, tuple(taxes))
    return Sums(
        labor=work.labor + off.labor,
        parts=work.parts + off.parts,
        other=work.other + off.other,
        net=work.net + off.net,
        taxes=(*work.taxes, *off.taxes),
        tax=work.tax + off.tax,
        gross=work.gross + off.gross,
        advanced=off.net,
    )
