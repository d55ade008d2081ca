"""A garage in the middle of a day, with a row of everything: what the crawl of all addresses walks through.

Everything is made by the program's own verbs; the first row of each kind is the one the crawl asks for.
"""

import datetime as dt
import uuid
from collections.abc import Iterator
from contextlib import suppress
from decimal import Decimal

from django.apps import apps
from django.db import IntegrityError, models, transaction

from garage.actions.customers import save_customer
from garage.actions.people import add_person
from garage.actions.profile import save_profile
from garage.clock import fixed
from garage.models import Role, User
from invoicing.actions.issuing import mail_invoice
from jobs.actions.evidence import Limit, note_advisory
from jobs.actions.intake import add_photo
from parts.actions.items import save_item, supersede
from parts.actions.receiving import Delivered, receive
from parts.actions.suppliers import save_supplier
from tests.invoicing.cast import Garage, labor, part
from tests.jobs import bay_cast, counter_cast

D = Decimal
#: Prices and costs in the garage below: no page of a technician may hold one of them.
PRICES = ("61.20", "57.92", "36.00", "34.07", "128.00", "179.20", "74.90", "73.73", "52.02")


def make(now: dt.datetime) -> dict[str, User]:
    """One job in the bay, one invoiced and half paid, one written up; a delivery, an old item and its successor.

    The answer is somebody of each role.
    """
    save_profile(fields={"name": "Test garage", "labor_rate": D("128.00")}, actor=None, clock=fixed(now))
    people = {
        role: add_person(
            username=role,
            name=f"{role.title()} Test",
            role=role,
            password="three wet dipsticks",
            actor=None,
            clock=fixed(now),
        )
        for role in Role.values
    }
    counter = people["counter"]
    bay = bay_cast.in_bay(people, now)
    bay.do(1)
    bay.do(2, reading="0.82")
    bay.do(3, **bay_cast.SAMPLE)
    limit = Limit("distance", odometer=90_000)
    note_advisory(
        key=uuid.uuid4(),
        job=bay.job,
        text="Rear pads at 3 mm",
        limit=limit,
        actor=people["technician"],
        clock=fixed(now),
    )
    add_photo(job=bay.job, upload=counter_cast.picture(), actor=people["technician"], clock=fixed(now))

    garage = Garage(people, now)
    garage.rates(parts="0.0725", labor="0", sublet="0", charge="0.0725")
    fluid = garage.fluid()
    invoice = garage.issue(garage.done([labor(), part(), garage.poured(fluid, "0.85")]))
    garage.pay(invoice, "73.73")
    mail_invoice(invoice=invoice, to="odile@example.com", actor=counter, clock=fixed(now))
    garage.credit(garage.issue(garage.done([part()])))
    garage.estimate(garage.job([labor(), part()]))

    supplier = save_supplier(fields={"name": "Ostrand Supply"}, actor=counter, clock=fixed(now))
    pack = fluid.packs.get()
    receive(
        key=uuid.uuid4(),
        supplier=supplier,
        reference="D-1",
        lines=[Delivered(pack, fluid, 2, D("36"))],
        actor=counter,
        clock=fixed(now),
    )
    successor = save_item(fields={"kind": "fluid", "name": "TF-32", "base_unit": "L"}, actor=counter, clock=fixed(now))
    supersede(old=fluid, new=successor, on=now.date(), note="renamed", actor=counter, clock=fixed(now))
    save_customer(actor=counter, clock=fixed(now), fields={"name": "Nobody's car"}, phones=[], emails=[])
    return people


#: Texts that are not words of people, or that the program reads to decide something.
NOT_WORDS = {
    "time_zone", "currency", "content_type", "message_id", "sha256", "row_hash", "previous_hash", "record", "salt",
    "password", "pin", "username", "series", "last_hash", "plate_key", "digits", "file", "color_seen", "mail_text",
}  # fmt: skip


def fill_with(text: str) -> Iterator[int]:
    """Write `text` over everything that people may have written into the book, behind the verbs' backs."""
    for app in ("garage", "parts", "jobs", "invoicing"):
        for model in apps.get_app_config(app).get_models():
            for field in model._meta.concrete_fields:
                words = type(field) in (models.CharField, models.TextField) and not field.choices
                if words and not field.unique and field.name not in NOT_WORDS and (field.max_length or 99) >= len(text):
                    with suppress(IntegrityError), transaction.atomic():
                        yield model._default_manager.update(**{field.name: text})
