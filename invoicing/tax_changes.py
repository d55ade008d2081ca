"""What the law changed of the taxes since the customer's last yes.

An invoice is taxed at the rates of its day: what the law changed is named, with who was told of it. What the garage
changed (a line's tax class, an exemption) needs a new yes or a write-off: that is consent's own question.
"""

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal

from garage.errors import Refused
from garage.forms_fields import plain_text
from invoicing import charges as priced
from invoicing import queries
from invoicing.comparing import more_or_less
from invoicing.models import AuthorizationOperation, Estimate, Invoice
from invoicing.sums import OUTSIDE, Charge, ClassRate, sum_up
from invoicing.totals import NOTHING, UNTAXED
from jobs.models import Job


def tax_changes(job: Job, charges: Sequence[Charge], on: dt.date) -> tuple[str, ...]:
    """What the law changed on a day, compared with the taxes that the customer heard, on what would be billed."""
    estimate = last_heard(job)
    if estimate is None or job.customer.exempt_on(on):
        return ()
    return tuple(_by_law(estimate, charges, priced.sealed_rates(estimate), queries.rates_on(on)))


def last_heard(job: Job) -> Estimate | None:
    """The estimate on which the customer last said yes to something."""
    said = AuthorizationOperation.objects.filter(authorization__job=job, decision="authorized").order_by("-pk")
    key = said.values_list("authorization__estimate", flat=True).first()
    return queries.estimates().filter(pk=key).first() if key is not None else None


def _by_law(
    estimate: Estimate, charges: Sequence[Charge], sealed: list[ClassRate], today: list[ClassRate]
) -> Iterator[str]:
    known = {row.tax_class for row in sealed} & {row.tax_class for row in today} | {UNTAXED}
    compared = [charge for charge in charges if charge.tax_class in known]
    classes = list(dict.fromkeys(charge.tax_class for charge in compared))
    heard, now = _tax_of_each(compared, sealed), _tax_of_each(compared, today)
    names = {row.tax: row.label for row in (*sealed, *today)}
    for tax, name in names.items():
        rates = dict.fromkeys((_rate(sealed, tax, row), _rate(today, tax, row)) for row in classes)
        changed = [f"{_percent(new)} instead of {_percent(old)}" for old, new in rates if old != new]
        difference = now.get(tax, NOTHING) - heard.get(tax, NOTHING)
        if changed and difference:
            yield (
                f"{name} is {' and '.join(changed)} since estimate {estimate.label}, which was authorized: "
                f"{more_or_less(difference)}."
            )


def _percent(rate: Decimal) -> str:
    return f"{plain_text(rate * 100)}%"


def _tax_of_each(charges: Sequence[Charge], rates: list[ClassRate]) -> dict[int, Decimal]:
    sums: dict[int, Decimal] = {}
    for row in sum_up(charges, rates).taxes:
        sums[row.tax_key] = sums.get(row.tax_key, NOTHING) + row.tax
    return sums


def _rate(rates: Iterable[ClassRate], tax: int, tax_class: str) -> Decimal:
    """The share a tax asks of a class; 0 where it asks nothing."""
    return next(
        (row.rate for row in rates if (row.tax, row.tax_class) == (tax, tax_class) and row.treatment != OUTSIDE),
        Decimal(0),
    )


def settle(invoice: Invoice, changes: Sequence[str], told: str) -> None:
    """Write on a new invoice what the law changed and who was told; Refused when nobody says who."""
    if not changes:
        return
    told = " ".join(told.split())
    if not any(sign.isalpha() for sign in told):  # a dash is nobody
        raise Refused(f"{changes[0]} Write who was told, and when.", "told")
    invoice.notices = {**invoice.notices, "tax_changes": list(changes)}
    invoice.told = told
