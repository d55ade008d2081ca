"""Reads of the procedures: the library, what fits a vehicle, a revision as its file, the items its needs name."""

from collections.abc import Iterable
from decimal import Decimal

from django.db.models import F, Prefetch, Q, QuerySet, Value
from django.db.models.functions import Concat, Trim

from garage import search
from garage.models import Vehicle
from jobs.matching import best_match
from jobs.models import AppliesTo, Procedure, ProcedureNeed, ProcedureRevision, ProcedureStep
from jobs.procedure_files import base_of
from jobs.procedure_schema import TO_FILL_IN, Amount, Measure, Need, Step, Vehicles, Written
from parts.models import Item, ItemNumber
from parts.queries import current_item


def library(text: str = "") -> QuerySet[Procedure]:
    """The published procedures with what a list shows; every typed word must stand in title, component or vehicles."""
    rows = Procedure.objects.filter(current__isnull=False).select_related("component", "current")
    for word in dict.fromkeys(text.split()):
        vehicles = AppliesTo.objects.filter(
            Q(make__icontains=word)
            | Q(model__icontains=word)
            | Q(engine__icontains=word)
            | Q(drivetrain__icontains=word)
        )
        rows = rows.filter(
            Q(title__icontains=word)
            | Q(component__name__icontains=word)
            | Q(current__summary__icontains=word)
            | Q(current__specification__icontains=word)
            | Q(pk__in=vehicles.values("procedure"))
        )
    return rows.prefetch_related("applies_to").order_by("component__position", "component__name", "title")


def fitting(vehicle: Vehicle) -> list[tuple[Procedure, int]]:
    """The published procedures that fit a vehicle with their score, the best match first."""
    scored = [(procedure, best_match(procedure.applies_to.all(), vehicle)) for procedure in library()]
    return sorted(
        ((procedure, score) for procedure, score in scored if score is not None),
        key=lambda pair: (-pair[1], pair[0].title),
    )


def whole_procedures() -> QuerySet[Procedure]:
    """Procedures with everything their page shows."""
    return Procedure.objects.select_related("component", "current").prefetch_related(
        "applies_to", Prefetch("revisions", whole_revisions())
    )


def whole_revisions() -> QuerySet[ProcedureRevision]:
    """Revisions with their needs and steps."""
    needs = ProcedureNeed.objects.select_related("item__current")
    steps = ProcedureStep.objects.select_related("need__item").prefetch_related("required")
    return ProcedureRevision.objects.select_related("procedure__component").prefetch_related(
        Prefetch("needs", needs), Prefetch("steps", steps)
    )


def items_called(text: str) -> list[Item]:
    """The items of today that a number, an old number or a name leads to; one, unless the name is not unique."""
    called = Trim(Concat(F("brand"), Value(" "), F("name")))
    found = (
        Item.objects.annotate(called=called)
        .filter(Q(numbers__key=search.key(text)) | Q(name__iexact=text) | Q(called__iexact=text))
        .select_related("current")
        .distinct()
    )
    today = {current_item(item).pk: current_item(item) for item in found}
    return list(today.values())


def known_as(item: Item) -> str:
    """How a file names an item: its own number, else the maker's, else its name."""
    numbers = {number.kind: number.number for number in item.numbers.all()}
    return numbers.get(ItemNumber.Kind.OWN) or numbers.get(ItemNumber.Kind.MAKER) or str(item)


def as_written(revision: ProcedureRevision) -> Written:
    """A revision as its file says it, so that it can be exported and compared."""
    names = {need.pk: need.name or f"need {position}" for position, need in enumerate(revision.needs.all(), start=1)}
    return Written(
        title=revision.procedure.title,
        component=revision.procedure.component.name,
        hours=revision.hours,
        summary=revision.summary,
        capacity=_volume(revision.capacity_typed, revision.capacity),
        drain=_volume(revision.drain_typed, revision.drain),
        fluid_kind=revision.fluid_kind,
        specification=revision.specification,
        source=revision.source,
        every_distance=revision.every_distance,
        distance_unit=revision.distance_unit,
        every_months=revision.every_months,
        tools=tuple(revision.tools.splitlines()),
        cautions=tuple(revision.cautions.splitlines()),
        applies_to=tuple(_vehicles(revision.procedure.applies_to.all())),
        needs=tuple(_need(need, names[need.pk]) for need in revision.needs.all()),
        steps=tuple(_step(step, names.get(step.need_id or 0, "")) for step in revision.steps.all()),
    )


def _volume(typed: str, value: Decimal | None) -> Amount | None:
    if typed == TO_FILL_IN:
        return Amount(Decimal(0), TO_FILL_IN, "L")
    return Amount(value, typed or f"{value.normalize():f} L", "L") if value is not None else None


def _vehicles(rows: Iterable[AppliesTo]) -> Iterable[Vehicles]:
    for row in rows:
        yield Vehicles(row.make, row.model, row.year_from, row.year_to, row.engine, row.drivetrain)


def _need(need: ProcedureNeed, name: str) -> Need:
    typed = need.typed or f"{need.quantity.normalize():f}"
    base = "" if typed == TO_FILL_IN else need.item.base_unit if need.item else base_of(typed)
    return Need(
        name=name,
        quantity=Amount(need.quantity, typed, base),
        item=known_as(need.item) if need.item else "",
        description=need.description,
        one_time=need.one_time,
    )


def _step(step: ProcedureStep, uses: str) -> Step:
    reading = None
    if step.reading:
        open_figures = tuple(filter(None, step.to_fill_in.split(", ")))
        reading = Measure(step.reading, step.unit, step.target, step.low, step.high, step.outside, open_figures)
    return Step(
        kind=step.kind,
        title=step.title,
        text=step.text,
        tool=step.tool,
        caution=step.caution,
        hold_point=step.hold_point,
        uses=uses,
        threads=step.threads,
        how=step.how,
        reading=reading,
        substance=step.substance,
        name=step.name,
        needs=tuple(other.name for other in step.required.all()),
    )
