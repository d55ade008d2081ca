"""Writing down who the customers are."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from django.db import models

from garage import audit, changes, search
from garage.actions import vehicles
from garage.clock import Clock
from garage.errors import Refused
from garage.models import AuthorizedPerson, Customer, EmailAddress, Phone, User
from garage.writing import writing

FIELDS = (
    "kind",
    "name",
    "contact",
    "address",
    "notes",
    "tax_exempt",
    "exemption_certificate",
    "exemption_until",
    "tax_number",
    "payment_days",
    "order_number_required",
)

Pair = tuple[str, str]


@writing()
def walk_in_customer(*, actor: User | None, clock: Clock) -> Customer:
    """Whoever buys over the counter without giving a name: one row, made when it is first needed."""
    now = clock()
    known = Customer.objects.filter(walk_in=True).first()  # read under the pen: nobody else makes one meanwhile
    if known is not None:
        return known
    row = Customer.objects.create(name=Customer.WALK_IN, walk_in=True, created=now)
    audit.record("wrote customer", row, actor=actor, now=now)
    index(row)
    return row


@writing()
def save_customer(
    *,
    actor: User | None,
    clock: Clock,
    customer: Customer | None = None,
    fields: Mapping[str, Any],
    phones: Iterable[Pair],
    emails: Iterable[Pair],
    designated: Iterable[Pair] | None = None,
    version: int | None = None,
) -> Customer:
    """Write a new customer, or bring a known one up to date; the first phone and email are the preferred ones.

    `phones` and `emails` are (number or address, label) and take the place of those that stand; `designated` are
    (name, phone or email) of those who may authorize work, None leaves them. Raises Refused without a name, or
    for a tax exemption without certificate; Stale when `version` is no longer the one that stands.
    """
    now = clock()
    row = Customer(created=now) if customer is None else Customer.objects.get(pk=customer.pk)
    if row.merged_into_id is not None:
        raise Refused(f"{row} is merged into another customer: change that one, or undo the merge first.")
    if row.erased_at is not None:
        raise Refused("This customer was erased and stays so: add a new one.")
    if row.walk_in:
        raise Refused(f"“{row}” is for everybody who buys at the counter without a name: it stays as it is.")
    changes.expect(row, version if customer else None)
    changed = changes.assign(row, _tidy(fields), among=FIELDS)
    if not row.name:
        raise Refused("A customer needs a name.", "name")
    if row.tax_exempt and not row.exemption_certificate:
        raise Refused("An exemption needs the number of its certificate.", "exemption_certificate")
    row.version += customer is not None
    row.save()
    numbers, addresses = _pairs(phones), _pairs(emails)
    changed |= _save_rows(row, numbers, addresses, None if designated is None else _pairs(designated))
    audit.record(
        "wrote customer" if customer is None else "changed customer", row, actor=actor, now=now, changed=changed
    )
    index(row)
    if "name" in changed:
        for vehicle in row.vehicles.select_related("owner"):
            vehicles.make_findable(vehicle)
    return row


def _tidy(fields: Mapping[str, Any]) -> dict[str, Any]:
    """Names on one line: a line break in one could forge the header of a mail."""
    return {name: " ".join(value.split()) if name in ("name", "contact") else value for name, value in fields.items()}


def index(customer: Customer) -> None:
    """Bring the search entry of a customer up to date: name, contact, address, phones and emails.

    One who was written down twice is found as the one who stands, by the words of both.
    """
    if customer.merged_into_id is not None:
        search.drop("customer", customer)
        return
    rows = list(customer.same().prefetch_related("phones", "emails"))
    phones = [phone.number for row in rows for phone in row.phones.all()]
    search.put(
        "customer",
        customer,
        title=customer.name,
        subtitle=" · ".join(filter(None, [*phones, customer.address.replace("\n", ", ")])),
        words=[
            *(word for row in rows for word in (row.name, row.contact)),
            *(word for number in phones for word in search.phone_words(number)),
            *(email.address for row in rows for email in row.emails.all()),
        ],
    )


def _pairs(given: Iterable[Pair]) -> list[Pair]:
    """The pairs whose first part says something, without blanks around them and without repeats."""
    stripped = ((first.strip(), second.strip()) for first, second in given)
    return list(dict.fromkeys(pair for pair in stripped if pair[0]))


def _replace(
    row_set: Any, names: Pair, wanted: list[Pair], make: Callable[[int, str, str], models.Model]
) -> list[list[Pair]]:
    """Put the wanted rows in the place of those that stand; give both when they differ, else nothing."""
    standing = list(row_set.values_list(*names))
    if standing == wanted:
        return []
    row_set.all().delete()
    row_set.bulk_create(make(at, first, second) for at, (first, second) in enumerate(wanted))
    return [standing, wanted]


def _save_rows(row: Customer, phones: list[Pair], emails: list[Pair], designated: list[Pair] | None) -> dict[str, Any]:
    """Save what a customer has several of; what changed, by its name."""

    def phone(at: int, number: str, label: str) -> Phone:
        return Phone(customer=row, number=number, digits=search.digits(number), label=label, position=at)

    def email(at: int, address: str, label: str) -> EmailAddress:
        return EmailAddress(customer=row, address=address, label=label, position=at)

    def person(at: int, name: str, contact: str) -> AuthorizedPerson:
        return AuthorizedPerson(customer=row, name=name, contact=contact)

    changed = {
        "phones": _replace(row.phones, ("number", "label"), phones, phone),
        "emails": _replace(row.emails, ("address", "label"), emails, email),
    }
    if designated is not None:
        changed["designated"] = _replace(row.designated, ("name", "contact"), designated, person)
    return {name: difference for name, difference in changed.items() if difference}
