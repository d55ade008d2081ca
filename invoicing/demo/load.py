"""Loading the demo: everything in one transaction, so that a load that is broken off leaves nothing behind."""

import datetime as dt
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path

from django.db import connection

from garage import counters, documents
from garage.actions.customers import save_customer
from garage.actions.people import add_person
from garage.actions.profile import save_profile
from garage.actions.vehicles import save_vehicle
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.models import Counter, Customer, ShopProfile, User, Vehicle
from garage.writing import writing
from invoicing.actions.taxes import set_rate
from invoicing.demo import sales, story
from invoicing.demo.buying import fill_the_shelf, rounds
from invoicing.demo.cast import COMPANIES, LOGINS, MODELS, OLD_CAR, PEOPLE, SHOP, Car, Person, vin_of
from invoicing.demo.garage import MONTHS, Garage, Script, tell
from invoicing.demo.history import visits, works_for
from invoicing.demo.visits import carry_out
from jobs.actions.procedures import publish
from jobs.models import Component, Job, Procedure
from jobs.procedure_files import parse
from parts.models import Item, Supplier

SERIES = "demo"
RECENT = dt.timedelta(days=7)  #: papers older than this are made when somebody asks for them
PROCEDURES = Path(__file__).parent / "procedures"
Say = Callable[[str], None]

#: The invented county taxes parts, fluid and charges at 7.25%; labor and what others do it leaves alone.
TAXES = {"parts": "0.0725", "charge": "0.0725", "labor": "0", "fabrication": "0", "sublet": "0"}


def is_loaded() -> bool:
    """Say whether this database holds the demo, also one whose tables are not today's."""
    return Counter._meta.db_table in _tables() and Counter.objects.filter(series=SERIES).exists()


def _tables() -> list[str]:
    return connection.introspection.table_names()


def holds_something() -> str:
    """What stands in this database already, in words; empty where nothing does."""
    tables = _tables()
    for model in (User, ShopProfile, Customer, Vehicle, Job, Item, Supplier, Procedure):
        number = model._default_manager.count() if model._meta.db_table in tables else 0
        if number:
            name = model._meta.verbose_name if number == 1 else model._meta.verbose_name_plural
            return f"{number} {name}"
    return ""


def refuse_a_book() -> None:
    """Raise Refused for a database that holds something."""
    if found := holds_something():
        raise Refused(f"This database holds {found}: the demo is only loaded into an empty one.")


@writing()
def load(*, clock: Clock, say: Say = lambda line: None) -> bool:
    """Load the demo garage, with `now` as its today; False when it stands there already.

    The same `now` gives the same garage. Raises Refused for a database that holds anything else.
    """
    now = clock()
    if is_loaded():
        return False
    if found := holds_something():
        raise Refused(f"This database holds {found}: the demo is only loaded into an empty one.")
    garage = Garage(now)
    _open(garage)
    say(f"{len(garage.items)} items on the shelf, {len(garage.revisions)} procedures in the book.")
    tell(_scripts(garage, say), until=now)
    documents.put_off(before=now - RECENT)
    counters.allocate(SERIES)
    return True


def _open(garage: Garage) -> None:
    """The first morning: people, the shop itself, taxes, the shelf and the procedures."""
    now = garage.opening
    for login in LOGINS:
        actor = garage.people.get("owner")
        garage.people[login.role] = add_person(
            username=login.username,
            name=login.name,
            role=login.role,
            password=login.password,
            actor=actor,
            clock=fixed(now),
        )
    owner = garage.people["owner"]
    save_profile(fields={**SHOP, "labor_rate": garage.labor_rate}, actor=owner, clock=fixed(now))
    for tax_class, rate in TAXES.items():
        set_rate(
            name="County sales tax", classes=[tax_class], rate=Decimal(rate),
            valid_from=now.date().replace(month=1, day=1), actor=owner, clock=fixed(now),
        )  # fmt: skip
    fill_the_shelf(garage, now)
    for file in sorted(PROCEDURES.glob("*.yaml")):
        written = parse(file.read_text(encoding="utf-8"))
        garage.revisions[written.title] = publish(written=written, actor=owner, clock=fixed(now))
    garage.components.update({component.name: component for component in Component.objects.all()})


def _scripts(garage: Garage, say: Say) -> Iterator[Script]:
    yield _calendar(garage, say)
    yield rounds(garage)
    fits: dict[str, dict[str, str]] = {}
    serial = 100
    for person in (*COMPANIES, *PEOPLE):
        comes = garage.at((MONTHS - person.since) * 30 - 1, 7)
        yield _meet(garage, person, serial, comes)
        for car in person.cars:
            serial += 1
            fitting = fits.setdefault(car.model, works_for(Vehicle(**_described(garage, car))))
            for visit in visits(garage, person, car, fits=fitting):
                yield carry_out(garage, visit)
    yield from story.scripts(garage)
    yield from sales.scripts(garage)


def _calendar(garage: Garage, say: Say) -> Script:
    """Say, year by year, how far the story has come."""
    for year in range(MONTHS // 12):
        yield garage.at(MONTHS * 30.44 - year * 365, 6, 30)
        say(f"Year {year + 1} of {MONTHS // 12}.")


def _meet(garage: Garage, person: Person, serial: int, now: dt.datetime) -> Script:
    """A customer comes for the first time: write them and their cars down."""
    yield now
    customer = save_customer(
        actor=garage.counter,
        clock=fixed(now),
        fields={
            "kind": "company" if person.company else "person",
            "name": person.name,
            "contact": person.contact,
            "address": person.address,
            "notes": person.notes,
            "tax_exempt": bool(person.exempt),
            "exemption_certificate": person.exempt,
            "exemption_until": garage.now.date() + dt.timedelta(days=200) if person.exempt else None,
            "payment_days": person.payment_days,
            "order_number_required": person.orders,
        },
        phones=person.phones,
        emails=person.emails,
        designated=person.designated,
    )
    garage.customers[person.name] = customer
    for car in person.cars:
        serial += 1
        fields = _described(garage, car)
        if car.vin:
            model = MODELS[car.model]
            fields["vin"] = vin_of(model.maker, car.model, int(str(fields["year"])), serial)
        garage.vehicles[car.plate] = save_vehicle(actor=garage.counter, clock=fixed(now), fields=fields, owner=customer)
    if person.name == "Owen Maddick":
        save_vehicle(actor=garage.counter, clock=fixed(now), fields=OLD_CAR, owner=customer)


def _described(garage: Garage, car: Car) -> dict[str, object]:
    model = MODELS[car.model]
    return {
        "plate": car.plate,
        "make": model.make,
        "model": model.model,
        "year": garage.now.year - car.age,
        "engine": model.engine,
        "drivetrain": model.drivetrain,
        "color": car.color,
        "notes": car.notes,
    }
