"""How figures are written: money, quantities in both units, dates the shop's way."""

from decimal import Decimal

from django import template

register = template.Library()


@register.filter
def money(value: Decimal | None) -> str:
    """An amount with two places and thousands separated: 1,234.50."""
    return "" if value is None else f"{value:,.2f}"
