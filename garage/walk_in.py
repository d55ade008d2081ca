"""The one row that stands for whoever buys over the counter without giving a name: nobody in particular."""

from garage.errors import Refused
from garage.models import Customer


def somebody(customer: Customer, field: str | None = "customer") -> Customer:
    """The customer, who is to be somebody in particular; Refused beside `field` for the walk-in customer, and for one
    who was erased."""
    if customer.erased_at is not None:
        raise Refused("This customer was erased: add them as a new customer.", field)
    if customer.walk_in:
        raise Refused(
            f"“{customer}” is for everybody who buys at the counter without a name: choose a customer.", field
        )
    return customer
