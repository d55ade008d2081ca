"""Taking a car in: customer, vehicle, odometer, concern and key, all in one act."""

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.core.files.uploadedfile import UploadedFile

from garage import audit, changes, counters, search, shop
from garage import photos as photo_store
from garage.actions import customers, vehicles
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.idempotency import once
from garage.models import Customer, OdometerReading, User, Vehicle
from garage.texts import fitting
from garage.walk_in import somebody
from garage.writing import writing
from jobs import queries, seen, stages
from jobs.actions.writing_up import take_up
from jobs.models import Advisory, DueService, Job, JobPhoto, JobStep, StageChange

#: What the counter may change about a visit after the car was taken in.
FACTS = ("concern", "key_tag", "parked", "drop_off_notes", "parts_wish", "promised_at", "order_number")


OPEN_JOB = "open job"


@dataclass(frozen=True)
class NewCustomer:
    """A customer who is not in the book yet."""

    fields: dict[str, Any]
    phones: Sequence[tuple[str, str]] = ()
    emails: Sequence[tuple[str, str]] = ()


@dataclass(frozen=True)
class NewVehicle:
    """A vehicle that is not in the book yet."""

    fields: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Odometer:
    """What the odometer shows; a lower one than before says why, and what stood there before."""

    reading: int
    unit: str
    lower_reason: str = ""
    before: int | None = None


@once(OPEN_JOB, Job)
def open_job(
    *,
    key: uuid.UUID,
    customer: Customer | NewCustomer,
    vehicle: Vehicle | NewVehicle | None,
    concern: str,
    key_tag: str = "",
    parked: str = "",
    drop_off_notes: str = "",
    promised_at: dt.datetime | None = None,
    odometer: Odometer | None = None,
    photos: Iterable[UploadedFile] = (),
    theirs_now: bool = False,
    offers: Iterable[Advisory | DueService] = (),
    said: str = "",
    actor: User | None,
    clock: Clock,
) -> Job:
    """Take a car in and give the visit its number; the same `key` again gives the same job.

    `theirs_now` makes the customer the owner of a vehicle that was somebody else's; `offers` are earlier advisories
    and services due that are written up at once; `said` is what the form said (`idempotency.said_by`). Raises
    Refused for a lower odometer without a reason, a VIN that cannot be, a file that is no photo, or a vehicle that is
    here already.
    """
    now = clock()
    owner = _customer(customer, actor, now)
    car = _vehicle(vehicle, owner, theirs_now, actor, now)
    job = Job(customer=owner, vehicle=car, concern=concern, key_tag=key_tag, parked=parked)
    job.drop_off_notes, job.promised_at = drop_off_notes, promised_at
    job.stage, job.stage_since, job.received_at, job.created_by = stages.WRITTEN_UP, now, now, actor
    job.odometer_in = _read(car, odometer, actor, now)
    job.number = counters.allocate("jobs")
    job.save(force_insert=True)
    StageChange.objects.create(job=job, stage=job.stage, at=now, by=actor)
    audit.record("opened", job, actor=actor, now=now, concern=concern, key_tag=key_tag)
    for upload in photos:
        add_photo(job=job, upload=upload, at_drop_off=True, actor=actor, clock=fixed(now))
    for offer in offers:
        take_up(job=job, offer=offer, actor=actor, clock=fixed(now))
    make_findable(job)
    return job


def _customer(given: Customer | NewCustomer, actor: User | None, now: dt.datetime) -> Customer:
    if isinstance(given, Customer):
        return somebody(given.today)
    return customers.save_customer(
        actor=actor, clock=fixed(now), fields=given.fields, phones=list(given.phones), emails=list(given.emails)
    )


def _vehicle(
    given: Vehicle | NewVehicle | None, owner: Customer, theirs_now: bool, actor: User | None, now: dt.datetime
) -> Vehicle | None:
    if isinstance(given, NewVehicle):
        return vehicles.save_vehicle(actor=actor, clock=fixed(now), fields=given.fields, owner=owner)
    if given is None:
        return None
    given = given.today
    here = queries.here_now(given)
    if here is not None:
        raise Refused(f"{given} is here already: {here}. Write the new concern on that job.", "vehicle")
    if given.owner is None or (theirs_now and given.owner.today != owner):
        on = shop.day_of(now)
        vehicles.change_owner(vehicle=given, customer=owner, on=on, actor=actor, clock=fixed(now))
    return given


def _read(
    vehicle: Vehicle | None, odometer: Odometer | None, actor: User | None, now: dt.datetime
) -> OdometerReading | None:
    if vehicle is None or odometer is None:
        return None
    return vehicles.read_odometer(
        vehicle=vehicle,
        reading=odometer.reading,
        unit=odometer.unit,
        on=shop.day_of(now),
        lower_reason=odometer.lower_reason,
        before=odometer.before,
        actor=actor,
        clock=fixed(now),
    )


@writing()
def change_job(*, job: Job, fields: Mapping[str, Any], version: str = "", actor: User | None, clock: Clock) -> Job:
    """Change what was written when the car came in (`FACTS`); a new promise is kept beside the old one in the trail.

    Raises Stale when somebody else did so since `version`.
    """
    now = clock()
    job.refresh_from_db()
    if job.stage not in stages.OPEN:
        raise Refused(f"{job} is {job.get_stage_display()} and is no longer changed.")
    seen.check(job, version, *FACTS)
    changed = changes.assign(job, fields, among=FACTS)
    if not changed:
        return job
    job.version += 1
    job.save(update_fields=[*changed, "version"])
    make_findable(job)
    audit.record("changed", job, actor=actor, now=now, changed=changed)
    return job


@writing()
def add_photo(
    *,
    job: Job,
    upload: UploadedFile,
    caption: str = "",
    at_drop_off: bool = False,
    step: JobStep | None = None,
    actor: User | None,
    clock: Clock,
) -> JobPhoto:
    """Keep a photo with the job; Refused for a file that is no photo."""
    now = clock()
    try:
        stored = photo_store.store_photo(upload, actor=actor, now=now)
    except Refused as error:
        raise Refused(f"{upload.name}: {error}", "photos") from None
    photo = JobPhoto.objects.create(
        job=job, step=step, stored=stored, caption=fitting(caption, 160, "caption"), at_drop_off=at_drop_off
    )
    audit.record("added a photo to", job, actor=actor, now=now, caption=caption, sha256=stored.sha256)
    return photo


@once("add photos", JobPhoto)
def add_photos(
    *,
    key: uuid.UUID,
    job: Job,
    uploads: Sequence[UploadedFile],
    caption: str = "",
    actor: User | None,
    clock: Clock,
) -> JobPhoto:
    """Keep several photos with the job, all or none; returns the last."""
    now = clock()
    added = [add_photo(job=job, upload=upload, caption=caption, actor=actor, clock=fixed(now)) for upload in uploads]
    return added[-1]


def make_findable(job: Job) -> None:
    """Let the job be found by its number, key tag, customer, plate and VIN."""
    vehicle = job.vehicle
    words = [str(job.number), job.key_tag, job.customer.name, job.order_number]
    if vehicle is not None:
        words += [vehicle.plate, *search.vin_words(vehicle.vin)]
    search.put(
        "job",
        job,
        title=f"{job} · {vehicle}" if vehicle is not None else str(job),
        subtitle=" · ".join(filter(None, [job.customer.name, vehicle.plate if vehicle is not None else ""])),
        words=words,
    )
