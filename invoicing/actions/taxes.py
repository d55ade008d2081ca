"""The tax rates: from which day on which share is charged on which class."""

import datetime as dt
from decimal import Decimal

from django.db.models import Q

from garage import audit, shop
from garage.clock import Clock
from garage.errors import Refused
from garage.models import User
from garage.writing import writing
from invoicing.models import TaxRate


@writing()
def set_rate(
    *, tax_class: str, label: str, rate: Decimal, valid_from: dt.date, actor: User | None, clock: Clock
) -> TaxRate:
    """Charge `rate` (0.0725 for 7.25 %) on a class from a day on; the tax of the same name ends the day before.

    Given again for the same first day it takes the place of what was typed before. Papers already written keep the
    rates they were written with. Raises Refused for a rate outside 0 to 1, and for a day before a later rate of the
    same name.
    """
    now = clock()
    label = " ".join(label.split())
    if not label:
        raise Refused("Give the tax the name that stands on the invoice.", "label")
    if not 0 <= rate < 1:
        raise Refused("The rate must be from 0 to less than 100 percent.", "rate")
    same = TaxRate.objects.filter(tax_class=tax_class, label__iexact=label)
    later = same.filter(valid_from__gt=valid_from).first()
    if later is not None:
        raise Refused(f"{later} already holds from {shop.day_words(later.valid_from)}.", "valid_from")
    the_day_before = valid_from - dt.timedelta(days=1)
    replaced = same.filter(valid_from=valid_from).first()
    for standing in same.filter(Q(valid_to=None) | Q(valid_to__gte=valid_from), valid_from__lt=valid_from):
        standing.valid_to = the_day_before
        standing.save(update_fields=["valid_to"])
    row = replaced or TaxRate(tax_class=tax_class, valid_from=valid_from)
    row.label, row.rate, row.valid_to = label, rate, None
    row.save()
    audit.record(
        "set tax rate", row, actor=actor, now=now, tax_class=tax_class, rate=str(rate), since=valid_from.isoformat()
    )
    return row


@writing()
def end_rate(*, rate: TaxRate, last_day: dt.date, actor: User | None, clock: Clock) -> TaxRate:
    """Let a tax end after a day. Raises Refused for a day before its first one."""
    now = clock()
    rate.refresh_from_db()
    if last_day < rate.valid_from:
        raise Refused(f"It begins on {shop.day_words(rate.valid_from)}: it cannot end before.", "last_day")
    rate.valid_to = last_day
    rate.save(update_fields=["valid_to"])
    audit.record("ended tax rate", rate, actor=actor, now=now, until=last_day.isoformat())
    return rate
