"""How figures are written: money, quantities in both units, prices per unit, distances, shares, dates.

Each filter is one line of a pure helper; rounding for the screen never touches what is stored.
"""

import datetime as dt
from decimal import ROUND_HALF_UP, Decimal

from django import template
from django.utils import timezone

from garage import dates, late, search, units
from garage.forms_fields import plain_text
from garage.money import in_currency, round_money, spoken
from garage.numbers import minus

register = template.Library()

HOURS = {"h": "hr"}


@register.filter
def money(value: Decimal | None) -> str:
    """An amount rounded half-up to cents, thousands separated, with a true minus sign: 1,234.50, −0.40."""
    return "" if value is None else minus(f"{round_money(value):,.2f}")


@register.filter(name="spoken")
def _spoken(value: Decimal | None) -> str:
    """An amount that stands alone, in the currency of the book: $1,234.50."""
    return "" if value is None else spoken(value)


@register.filter
def cash(value: Decimal | None, currency: str) -> str:
    """An amount that stands alone, in the currency of its row: $1,234.50, 12.00 CHF."""
    return "" if value is None else in_currency(value, currency)


@register.filter
def both(value: Decimal | None, unit: str) -> str:
    """A quantity in its own unit and the other: 0.850 L · 0.898 qt. Hours and counts have no other unit."""
    if value is None:
        return ""
    return units.both(value, unit) if unit in units.DIMENSION and units.other_unit(unit) else quantity(value, unit)


@register.filter
def both_bay(value: Decimal | None, unit: str) -> str:
    """The same with the bay's two decimals: 0.85 L · 0.90 qt."""
    return "" if value is None else units.both(value, unit, 2)


@register.filter
def quantity(value: Decimal | None, unit: str) -> str:
    """A quantity in its own unit: 0.850 L, 1.4 hr, 2 ea."""
    if value is None:
        return ""
    if unit in ("L", "qt", "gal"):
        return f"{value.quantize(Decimal('0.001'), ROUND_HALF_UP):,f} {units.label(unit)}"
    return f"{plain_text(value)} {units.label(unit) if unit in units.DIMENSION else HOURS.get(unit, unit)}"


@register.filter
def other(value: Decimal | None, unit: str) -> str:
    """Only the other unit's figure: 0.898 qt for 0.850 L; empty where there is none."""
    return both(value, unit).partition(" · ")[2]


@register.filter
def price(value: Decimal | None, unit: str) -> str:
    """A price per unit: 61.20 / L. More than two places are shown when it has them."""
    if value is None:
        return ""
    places = max(2, len(plain_text(value).partition(".")[2]))
    return f"{value:,.{places}f}" + ("" if unit == "each" else f" / {unit}")


@register.filter
def price_other(value: Decimal | None, unit: str) -> str:
    """The same price per the other unit: 57.92 / qt for 61.20 / L; empty where there is none."""
    companion = units.other_unit(unit) if unit in units.DIMENSION else None
    if value is None or companion is None:
        return ""
    return f"{money(units.price_per(value, unit, companion))} / {units.label(companion)}"


@register.filter
def share(value: Decimal | None) -> str:
    """A share as percent: 7.25% for 0.0725."""
    return "" if value is None else f"{plain_text(value * 100)}%"


@register.filter
def distance(value: int | None, unit: str) -> str:
    """A whole distance: 88,410 mi."""
    return "" if value is None else f"{value:,} {unit}"


@register.filter
def distance_other(value: int | None, unit: str) -> str:
    """The same distance in the other unit: 142,282 km for 88,410 mi."""
    companion = units.other_unit(unit)
    if value is None or companion is None:
        return ""
    return f"{round_money(units.convert(Decimal(value), unit, companion), 0):,f} {companion}"


@register.filter
def when(value: dt.datetime | None) -> str:
    """A moment in the shop's zone, as short as it can be said: 9:02 AM for today, Nov 24, 9:02 AM else."""
    return "" if value is None else dates.short(value, timezone.localtime())


@register.filter
def day(value: dt.date | dt.datetime | None) -> str:
    """A day: Nov 25, 2026."""
    if value is None:
        return ""
    return dates.day(timezone.localtime(value) if isinstance(value, dt.datetime) else value)


@register.filter
def overdue(due: dt.date | None) -> str:
    """How long a day has passed: 46 days overdue; nothing for one that is still to come."""
    return "" if due is None else late.days_overdue((due - timezone.localdate()).days)


@register.filter
def dial(number: str) -> str:
    """A phone number as a `tel:` link takes it: its digits, and the plus sign before them (RFC 3966)."""
    return ("+" if number.strip().startswith("+") else "") + search.digits(number)
