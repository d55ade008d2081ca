"""The taxes: from which day on which share is charged on which classes."""

import datetime as dt
from collections.abc import Collection
from decimal import Decimal

from django.db.models import Q, QuerySet

from garage import audit, dates, shop
from garage.clock import Clock
from garage.errors import Refused
from garage.models import TaxClass, User
from garage.writing import writing
from invoicing.models import Tax, TaxRate, Treatment

REASONED = (Treatment.ZERO, Treatment.EXEMPT)


@writing()
def set_rate(
    *,
    name: str,
    classes: Collection[str],
    rate: Decimal = Decimal(0),
    treatment: str = "",
    reason: str = "",
    valid_from: dt.date,
    actor: User | None,
    clock: Clock,
) -> Tax:
    """Let the tax of that name ask `rate` (0.0725 for 7.25 %) of some classes from a day on; a new name is a new tax.

    `treatment` is taxed, zero, exempt or outside (not subject to it); left out, a rate of 0 is the last of these.
    What holds on that day without an end ends the day before; given again for the same first day, it takes the place
    of what was typed before. Papers already written keep their rates. Raises Refused, naming the field, for a rate
    that is no share, a zero-rated or exempt class without a reason, and a day on which another rate of this tax holds.
    """
    now = clock()
    name, reason = " ".join(name.split()), " ".join(reason.split())
    treatment = treatment or (Treatment.TAXED if rate else Treatment.OUTSIDE)
    _check(name, classes, rate, treatment, reason)
    tax = Tax.objects.filter(name__iexact=name).first() or Tax.objects.create(name=name)
    for tax_class in dict.fromkeys(classes):
        _make_room(tax.rates.filter(tax_class=tax_class), valid_from)
        row = tax.rates.filter(tax_class=tax_class, valid_from=valid_from).first()
        row = row or TaxRate(tax=tax, tax_class=tax_class, valid_from=valid_from)
        row.rate, row.treatment = rate, treatment
        row.reason = reason if treatment in REASONED else ""
        row.save()
    audit.record(
        "set tax rate", tax, actor=actor, now=now,
        classes=sorted(classes), rate=str(rate), treatment=str(treatment), since=valid_from.isoformat(),
    )  # fmt: skip
    return tax


def _check(name: str, classes: Collection[str], rate: Decimal, treatment: str, reason: str) -> None:
    if not name:
        raise Refused("Write the name that is printed on the invoice.", "name")
    if not classes:
        raise Refused("Mark at least one class that this applies to.", "classes")
    if unknown := set(classes) - set(TaxClass.values) | ({TaxClass.NONE} & set(classes)):
        raise Refused(f"“{min(unknown)}” is no class that a tax can be on.", "classes")
    if not 0 <= rate < 1:
        raise Refused("The rate must be from 0 to less than 100 percent.", "rate")
    if treatment == Treatment.TAXED and not rate:
        raise Refused("A rate of 0 is zero-rated, exempt, or not subject to the tax: say which.", "treatment")
    if treatment != Treatment.TAXED and rate:
        raise Refused(f"What is {Treatment(treatment).label} has no rate: clear the percent.", "rate")
    if treatment in REASONED and not reason:
        raise Refused("Write why, as it is printed on the invoice.", "reason")


def _make_room(same: QuerySet[TaxRate], valid_from: dt.date) -> None:
    """End the rate that holds without an end; refuse a day that another rate of this tax on this class covers."""
    for later in same.filter(valid_from__gt=valid_from).order_by("valid_from")[:1]:
        raise Refused(
            f"{later} on {later.get_tax_class_display()} already holds from {dates.day(later.valid_from)}: "
            "two rates of one tax would overlap.",
            "valid_from",
        )
    for ended in same.filter(valid_from__lt=valid_from, valid_to__gte=valid_from):
        raise Refused(
            f"{ended} on {ended.get_tax_class_display()} holds until {dates.day(ended.valid_to or valid_from)}: "
            "two rates of one tax would overlap. Start after that day, or change its last day first.",
            "valid_from",
        )
    for row in same.filter(valid_from=valid_from, valid_to__isnull=False):
        row.valid_to = None  # typed again for the same first day: without an end until one is set
        row.save(update_fields=["valid_to"])
    same.filter(valid_to=None, valid_from__lt=valid_from).update(valid_to=valid_from - dt.timedelta(days=1))


@writing()
def end_rate(
    *, tax: Tax, classes: Collection[str] | None = None, last_day: dt.date, actor: User | None, clock: Clock
) -> Tax:
    """Let a tax end on some classes (None: all) after a day, for the rates that hold then or were to end later.

    Raises Refused for a day before they begin, and for one that another rate of this tax has by then.
    """
    now = clock()
    today = shop.day_of(now)
    rows = tax.rates.filter(Q(valid_to=None) | Q(valid_to__gte=min(today, last_day)), valid_from__lte=today)
    if classes is not None:
        if not classes:
            raise Refused("Mark at least one class on which it ends.", "classes")
        rows = rows.filter(tax_class__in=classes)
    ending = list(rows)
    if not ending:
        raise Refused(f"{tax} does not hold now: there is nothing to end.", "last_day")
    for row in ending:
        if last_day < row.valid_from:
            raise Refused(f"{row} begins on {dates.day(row.valid_from)}: it cannot end before.", "last_day")
        for later in tax.rates.filter(tax_class=row.tax_class, valid_from__gt=row.valid_from, valid_from__lte=last_day):
            raise Refused(
                f"{later} on {later.get_tax_class_display()} holds from {dates.day(later.valid_from)}: "
                "two rates of one tax would overlap.",
                "last_day",
            )
    for row in ending:
        row.valid_to = last_day
        row.save(update_fields=["valid_to"])
    audit.record(
        "ended tax rate", tax, actor=actor, now=now,
        classes=sorted(row.tax_class for row in ending), until=last_day.isoformat(),
    )  # fmt: skip
    return tax


@writing()
def withdraw_rate(*, rate: TaxRate, actor: User | None, clock: Clock) -> Tax:
    """Take a rate back that has not begun, on all classes it was set on; what was to end the day before holds on.

    Raises Refused once it has begun: papers may have been written with it.
    """
    now = clock()
    row = TaxRate.objects.select_related("tax").filter(pk=rate.pk).first()
    if row is None:
        raise Refused("This rate was withdrawn already.")
    if row.valid_from <= shop.day_of(now):
        raise Refused(f"{row} began on {dates.day(row.valid_from)}: end it instead.")
    together = row.tax.rates.filter(
        valid_from=row.valid_from, rate=row.rate, treatment=row.treatment, reason=row.reason
    )
    classes = sorted(together.values_list("tax_class", flat=True))
    together.delete()
    day_before = row.valid_from - dt.timedelta(days=1)
    row.tax.rates.filter(tax_class__in=classes, valid_to=day_before).update(valid_to=None)
    audit.record(
        "withdrew tax rate", row.tax, actor=actor, now=now,
        classes=classes, rate=str(row.rate), since=row.valid_from.isoformat(),
    )  # fmt: skip
    return row.tax


@writing()
def rename_tax(*, tax: Tax, name: str, actor: User | None, clock: Clock) -> Tax:
    """Give a tax another name on papers to come: it stays the same tax. Raises Refused for a name another one has."""
    now = clock()
    row = Tax.objects.get(pk=tax.pk)
    before, row.name = row.name, " ".join(name.split())
    if not row.name:
        raise Refused("Write the name that is printed on the invoice.", "name")
    if Tax.objects.filter(name__iexact=row.name).exclude(pk=row.pk).exists():
        raise Refused(f"There is a tax called “{row.name}” already.", "name")
    row.save(update_fields=["name"])
    audit.record("renamed tax", row, actor=actor, now=now, changed={"name": [before, row.name]})
    return row
