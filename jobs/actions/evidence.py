"""What the bay saw and noticed: fluid samples with their verdict, and advisories for later work."""

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.core.files.uploadedfile import UploadedFile

from garage import audit, shop
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.idempotency import once
from garage.models import User, Vehicle
from garage.photos import store_photo
from garage.queries import whole_distance
from garage.texts import fitting
from garage.writing import writing
from jobs.actions.intake import add_photo
from jobs.fluids import BOILING_POINT, FREEZE_POINT
from jobs.models import Advisory, Component, DueService, FluidSample, Job, JobPhoto, JobStep, Operation
from jobs.verdict import Seen, judge


@dataclass(frozen=True)
class Limit:
    """By when noticed work is to be done: a kind of `Advisory.Limit`, with its odometer or day where it has one."""

    kind: str
    odometer: int | None = None
    day: dt.date | None = None


@writing()
def record_sample(
    *,
    operation: Operation,
    seen: Seen,
    step: JobStep | None = None,
    volume_out: Decimal | None = None,
    distance_on_fluid: int | None = None,
    notes: str = "",
    typed: Mapping[str, str] | None = None,
    actor: User | None,
    clock: Clock,
) -> FluidSample:
    """Record what was seen of the fluid that came out, with the verdict that its rule gives.

    The distance on the fluid is counted from the last time the component was serviced here, unless it is given;
    `typed` are its temperatures as they were written.
    Raises Refused where the job has no vehicle or the operation no component to keep it on, and for unknown words.
    """
    now, written = clock(), typed or {}
    job, component = operation.job, operation.component
    if job.vehicle is None or component is None:
        raise Refused("A fluid sample is kept on a vehicle's component: this operation has none.")
    try:
        verdict = judge(seen)
    except ValueError as error:
        raise Refused(str(error)) from error
    unit = shop.profile().distance_unit
    odometer = whole_distance(job.odometer_in.reading, job.odometer_in.unit, unit) if job.odometer_in else None
    if distance_on_fluid is None:
        distance_on_fluid = distance_since(job.vehicle, component, odometer, unit)
    sample = FluidSample.objects.create(
        vehicle=job.vehicle,
        component=component,
        operation=operation,
        step=step,
        on=shop.day_of(now),
        odometer=odometer,
        distance_on_fluid=distance_on_fluid,
        unit=unit,
        volume_out=volume_out,
        fluid_kind=seen.kind,
        specification=seen.specification,
        color=fitting(seen.color, 60, "color"),
        clarity=seen.clarity,
        particles=seen.particles,
        smell=seen.smell,
        freeze_point=seen.freeze_point,
        freeze_point_typed=written.get(FREEZE_POINT, ""),
        water=seen.water,
        boiling_point=seen.boiling_point,
        boiling_point_typed=written.get(BOILING_POINT, ""),
        verdict=verdict.word,
        stops=bool(verdict.stopping),
        notes=notes,
        by=actor,
    )
    audit.record("looked at fluid", sample, actor=actor, now=now, verdict=verdict.word)
    return sample


@writing()
def answer_sample(*, sample: FluidSample, person: str, words: str, actor: User | None, clock: Clock) -> FluidSample:
    """Say who was told of what a sample showed and what is to be done: only then the work goes on.

    Raises Refused for a sample that stops nothing, for one that was answered, and without a person or their words.
    """
    now = clock()
    sample.refresh_from_db()
    if not sample.stops:
        raise Refused("This sample stops nothing.")
    if sample.told_words:
        raise Refused(f"It was answered already: {sample.told} said “{sample.told_words}”.")
    if not person.strip():
        raise Refused("Write who was told.", "told")
    if not words.strip():
        raise Refused("Write what they said.", "told_words")
    sample.told, sample.told_words = fitting(person, 80, "told"), fitting(words, 200, "told_words")
    sample.told_at, sample.told_by = now, actor
    sample.save(update_fields=["told", "told_words", "told_at", "told_by"])
    audit.record("answered sample", sample, actor=actor, now=now, words=sample.told_words)
    return sample


def distance_since(vehicle: Vehicle, component: Component, odometer: int | None, unit: str) -> int | None:
    """The distance since the component was last serviced here, in `unit`; None when that is not known."""
    last = (
        DueService.objects.filter(vehicle__in=vehicle.same(), component=component, last_odometer__isnull=False)
        .order_by("-last_on", "-pk")
        .first()
    )
    if last is None or last.last_odometer is None or odometer is None:
        return None
    distance = odometer - whole_distance(last.last_odometer, last.unit, unit)
    return distance if distance >= 0 else None


@once("jobs.photograph_step", JobPhoto)
def photograph_step(
    *, key: uuid.UUID, step: JobStep, upload: UploadedFile, caption: str = "", actor: User | None, clock: Clock
) -> JobPhoto:
    """Keep a photo taken at a step with its job; Refused for a file that is no photo."""
    now = clock()
    job = step.operation.job
    return add_photo(job=job, upload=upload, caption=caption or str(step), step=step, actor=actor, clock=fixed(now))


@once("jobs.note_advisory", Advisory)
def note_advisory(
    *,
    key: uuid.UUID | None = None,
    job: Job,
    text: str,
    limit: Limit,
    component: Component | None = None,
    photo: UploadedFile | None = None,
    actor: User | None,
    clock: Clock,
) -> Advisory:
    """Note later work on the job's vehicle; it is offered again until it is settled or declined.

    Raises Refused without words or the limit's figure, and for a file that is no photo.
    """
    now = clock()
    if job.vehicle is None:
        raise Refused("This job has no vehicle to keep a recommendation on.")
    if not text.strip():
        raise Refused("Write what you recommend.", "text")
    if limit.kind == Advisory.Limit.DISTANCE and limit.odometer is None:
        raise Refused("Write within which distance.", "within")
    if limit.kind == Advisory.Limit.DATE and (limit.day is None or limit.day < shop.day_of(now)):
        raise Refused("Choose the day, from today on.", "by_date")
    advisory = Advisory.objects.create(
        vehicle=job.vehicle,
        job=job,
        component=component,
        text=fitting(text, 200, "text"),
        limit=limit.kind,
        by_odometer=limit.odometer if limit.kind == Advisory.Limit.DISTANCE else None,
        by_date=limit.day if limit.kind == Advisory.Limit.DATE else None,
        unit=shop.profile().distance_unit,
        stored=store_photo(photo, actor=actor, now=now) if photo else None,
        at=now,
        by=actor,
    )
    audit.record("noted advisory", advisory, actor=actor, now=now, job=job.pk, limit=limit.kind)
    return advisory


@writing()
def settle_advisory(*, advisory: Advisory, state: str, actor: User | None, clock: Clock) -> Advisory:
    """Mark an advisory as settled or declined, or open it again; what it already is changes nothing."""
    now = clock()
    advisory.refresh_from_db()
    if advisory.state == state:
        return advisory
    if state == Advisory.State.OFFERED:
        raise Refused("Add it to a job to offer it.")
    before, advisory.state = advisory.state, state
    advisory.save(update_fields=["state"])
    audit.record("settled advisory", advisory, actor=actor, now=now, before=before, state=state)
    return advisory
