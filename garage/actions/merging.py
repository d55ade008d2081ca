"""Making one of two rows that are the same customer or the same car, and parting them again."""

from typing import TypeVar

from garage import audit
from garage.actions import customers, vehicles
from garage.clock import Clock
from garage.errors import Refused
from garage.models import Customer, User, Vehicle
from garage.models.merging import Mergeable
from garage.writing import writing

Row = TypeVar("Row", bound=Mergeable)


@writing()
def merge_customer(*, customer: Customer, into: Customer, actor: User | None, clock: Clock) -> Customer:
    """Close a customer who is in the book twice and let the row point to `into`; returns the one that stands.

    Sealed papers keep the name they bear; pages, balances and finds gather both. Raises Refused for a circle and for
    one that is merged already.
    """
    first, second = Customer.objects.get(pk=customer.pk), Customer.objects.get(pk=into.pk)
    if first.walk_in or second.walk_in:
        raise Refused(f"“{Customer.WALK_IN}” is for many customers: it cannot be merged.")
    if first.erased_at or second.erased_at:
        raise Refused("One of them was erased: they can no longer be merged.")
    row, end = _merge(first, second)
    audit.record("merged", row, actor=actor, now=clock(), into=end.pk)
    customers.index(row)
    customers.index(end)
    return end


@writing()
def merge_vehicle(*, vehicle: Vehicle, into: Vehicle, actor: User | None, clock: Clock) -> Vehicle:
    """The same for a car. Raises Refused also for two cars with different VINs: they are two cars; and for one with a
    VIN into one without: the car's papers would bear none, and it could not be written on the one that stands."""
    first, second = (Vehicle.objects.select_related("owner").get(pk=row.pk) for row in (vehicle, into))
    if first.vin and second.vin and first.vin != second.vin:
        raise Refused(f"Their VINs differ ({first.vin} and {second.vin}): these are two cars.")
    if first.vin and not second.today.vin:
        raise Refused(f"{first} has the VIN {first.vin} and {second.today} has none: merge that one into this one.")
    row, end = _merge(first, second)
    audit.record("merged", row, actor=actor, now=clock(), into=end.pk)
    vehicles.make_findable(row)
    vehicles.make_findable(end)
    return end


@writing()
def part_customer(*, customer: Customer, actor: User | None, clock: Clock) -> Customer:
    """Take a merge back: the customer stands alone again, with what had been merged into them before."""
    row, end = _part(Customer.objects.select_related("standing").get(pk=customer.pk))
    audit.record("undid a merge", row, actor=actor, now=clock(), into=end.pk)
    customers.index(row)
    customers.index(end)
    return row


@writing()
def part_vehicle(*, vehicle: Vehicle, actor: User | None, clock: Clock) -> Vehicle:
    """The same for a car."""
    row, end = _part(Vehicle.objects.select_related("standing", "owner").get(pk=vehicle.pk))
    audit.record("undid a merge", row, actor=actor, now=clock(), into=end.pk)
    vehicles.make_findable(row)
    vehicles.make_findable(end)
    return row


def _merge(row: Row, into: Row) -> tuple[Row, Row]:
    if row.merged_into_id is not None:
        raise Refused(f"{row} is merged into {row.today} already.")
    if into.today.pk == row.pk:
        raise Refused(f"{into} is merged into {row} already: that would go round in a circle.")
    end = into.today
    type(row)._default_manager.filter(standing=row.pk).update(standing=end)
    row.merged_into, row.standing = into, end
    row.save(update_fields=["merged_into", "standing"])
    return row, end


def _part(row: Row) -> tuple[Row, Row]:
    if row.merged_into_id is None:
        raise Refused(f"{row} is not merged.")
    end = row.today
    members, step = [row.pk], [row.pk]
    while step:
        step = list(type(row)._default_manager.filter(merged_into__in=step).values_list("pk", flat=True))
        members += step
    type(row)._default_manager.filter(pk__in=members).exclude(pk=row.pk).update(standing=row)
    row.merged_into = row.standing = None
    row.save(update_fields=["merged_into", "standing"])
    return row, type(row)._default_manager.get(pk=end.pk)
