"""What a paper copies so that it stands alone, and the seals over its rows."""

import dataclasses
import datetime as dt
import zoneinfo
from collections.abc import Iterable, Sequence
from typing import Any

from garage import dates, shop
from garage.ledger import content_of, digest
from garage.models import Customer, OdometerReading, ShopProfile, SideRow, Vehicle
from invoicing.models import (
    Estimate,
    EstimateLine,
    EstimateOperation,
    InvoiceLine,
    InvoiceOperation,
    InvoiceTax,
    PaymentPart,
)
from invoicing.models.papers import PaperLine
from invoicing.sums import Charge, ClassRate, Sums

PARTS_WISH = {
    "": "",
    "return": "The customer wants the replaced parts back.",
    "show": "The customer wants to see the replaced parts.",
    "discard": "The replaced parts were offered and are left with us.",
}


def shop_on_paper(profile: ShopProfile) -> dict[str, Any]:
    """The garage's own words and numbers as they stand today."""
    names = (
        "name", "address", "phone", "email", "license_number", "waste_id", "tax_number", "currency", "time_zone",
        "locale", "page_size", "labor_basis", "authorization_text", "estimate_text", "invoice_text", "warranty_text",
    )  # fmt: skip
    return {**{name: str(getattr(profile, name)) for name in names}, "labor_rate": f"{profile.labor_rate:.2f}"}


def person_on_paper(customer: Customer, now: dt.datetime) -> SideRow:
    """Keep the name, address and first numbers of the customer beside the sealed rows; of the one that stands today,
    for a row that was closed can no longer be put right."""
    customer = customer.today
    phone, email = customer.phones.first(), customer.emails.first()
    return SideRow.objects.create(
        written_at=now,
        data={
            "name": customer.name,
            "contact": customer.contact,
            "address": customer.address,
            "phone": phone.number if phone else "",
            "email": email.address if email else "",
            "tax_number": customer.tax_number,
        },
    )


def vehicle_on_paper(vehicle: Vehicle | None) -> dict[str, str]:
    """The car as a paper names it, as it stands today: one that was written down twice bears its VIN."""
    if vehicle is None:
        return {"vehicle_text": "", "vin": "", "plate": ""}
    vehicle = vehicle.today
    text = ", ".join(filter(None, [str(vehicle), vehicle.engine, vehicle.color]))
    return {"vehicle_text": text, "vin": vehicle.vin, "plate": vehicle.plate}


def odometer_on_paper(reading: OdometerReading | None) -> str:
    """The odometer as printed, with its condition when it is not the actual distance."""
    if reading is None:
        return ""
    doubtful = {"exceeds": " (over limit)", "not_actual": " (not actual)"}
    return f"{reading}{doubtful.get(reading.condition, '')}"


def exemption_on_paper(customer: Customer, exempt: bool) -> str:
    """The certificate that an untaxed paper refers to."""
    return f"certificate {customer.today.exemption_certificate}" if exempt else ""


def sums_on_paper(sums: Sums) -> dict[str, Any]:
    """The sums as a paper's columns."""
    return {
        "labor_net": sums.labor,
        "parts_net": sums.parts,
        "other_net": sums.other,
        "net": sums.net,
        "tax": sums.tax,
        "gross": sums.gross,
    }


def lines_on_paper(charges: Sequence[Charge]) -> list[dict[str, Any]]:
    """The charges of an operation as a paper's lines; one that hangs on another names its position."""
    names = [field.attname for field in PaperLine._meta.fields if field.name not in ("id", "position", "under")]
    places = {charge.line: place for place, charge in enumerate(charges, start=1) if charge.line is not None}
    return [
        {
            "position": place,
            "under": places.get(charge.under, 0) if charge.under else 0,
            **{name: getattr(charge, name) for name in (*names, "sublet_to")},
        }
        for place, charge in enumerate(charges, start=1)
    ]


def rates_on_paper(rates: Iterable[ClassRate]) -> list[dict[str, Any]]:
    """The rates of a day as an estimate seals them (`charges.sealed_rates` reads them back)."""
    return [{**dataclasses.asdict(row), "rate": str(row.rate)} for row in rates]


def taxes_on_paper(sums: Sums) -> list[dict[str, Any]]:
    """The tax rows of an estimate."""
    return [
        {
            **dataclasses.asdict(row),
            "base": str(row.base),
            "rate": str(row.rate),
            "tax": str(row.tax),
            "classes": list(row.classes),
        }
        for row in sums.taxes
    ]


def with_lines(
    operation: EstimateOperation | InvoiceOperation, lines: Iterable[EstimateLine | InvoiceLine]
) -> dict[str, Any]:
    """What is hashed of an operation on a paper, its lines in it."""
    return {**content_of(operation), "lines": [content_of(line) for line in lines]}


def invoice_seal(
    operations: Iterable[tuple[InvoiceOperation, Iterable[InvoiceLine]]], taxes: Iterable[InvoiceTax]
) -> str:
    """The seal over an invoice's operations with their lines, and its taxes."""
    return digest(
        {
            "operations": [with_lines(operation, lines) for operation, lines in operations],
            "taxes": [content_of(row) for row in taxes],
        }
    )


def estimate_seal(estimate: Estimate, operations: Iterable[tuple[EstimateOperation, Iterable[EstimateLine]]]) -> str:
    """The seal over an estimate and its operations with their lines."""
    offered = [with_lines(operation, lines) for operation, lines in operations]
    return digest({"estimate": content_of(estimate), "operations": offered})


def parts_seal(parts: Iterable[PaymentPart]) -> str:
    """The seal over the parts of an act with money, a payment or an allocation: where how much of it goes."""
    return digest({"parts": [content_of(part) for part in parts]})


def local(moment: dt.datetime, zone: str) -> dt.datetime:
    """A moment in the shop's zone: papers are made by a worker that has no page's zone."""
    return moment.astimezone(zoneinfo.ZoneInfo(zone))


def said_moment(moment: dt.datetime, zone: str) -> str:
    """A moment as papers print it, in the shop's zone: Nov 25, 2026, 9:02 AM."""
    return dates.moment(local(moment, zone))


def proven_moment(moment: dt.datetime, zone: str) -> str:
    """A moment that is evidence, with the name of its zone: Nov 25, 2026, 9:02 AM EST."""
    return f"{said_moment(moment, zone)} {local(moment, zone):%Z}"


def said_promise(moment: dt.datetime | None, zone: str) -> str:
    """When the car is promised, as papers print it; empty when it was not."""
    return said_moment(moment, zone) if moment else ""


def due_after(customer: Customer, now: dt.datetime) -> dt.date:
    """The day an invoice issued now is due."""
    profile, customer = shop.profile(), customer.today
    days = customer.payment_days if customer.payment_days is not None else profile.payment_days
    return shop.day_of(now) + dt.timedelta(days=days)
