"""How the shelf writes what came and what went."""

from decimal import Decimal

from django import template

from garage.numbers import minus
from garage.templatetags.figures import money, quantity

register = template.Library()
register.filter("minus", minus)  # {{ text|minus }}


@register.filter
def signed(value: Decimal, unit: str) -> str:
    """A movement's quantity with its sign: +1.000 L came, −0.700 L went."""
    return ("−" if value < 0 else "+") + quantity(abs(value), unit)


@register.filter
def cost(value: Decimal | None, unit: str) -> str:
    """What a base unit cost, to the cent: 35.82 / L; the book keeps six places."""
    return "" if value is None else money(value) + ("" if unit == "each" else f" / {unit}")
