"""The customer's consent read from the book: the sealed records, held against a job's sheet as it is.

The records stand in a higher app (a job knows no authorization): it registers a function that reads those of many
jobs at once, in a bounded number of queries.
"""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence

from django.db.models import Prefetch, QuerySet

from jobs.amounts import amount
from jobs.consent import Consent, Record, consent_from
from jobs.models import Job, Operation
from jobs.models import Line as SheetLine
from jobs.offers import Line, Work
from jobs.sold import sold

#: Reads the records of the jobs with these primary keys.
Loader = Callable[[Collection[int]], Mapping[int, Sequence[Record]]]
_loaders: list[Loader] = []


def register(loader: Loader) -> None:
    """Name the function that reads the sealed records; without one nothing is authorized."""
    if loader not in _loaders:
        _loaders.append(loader)


def records_of(jobs: Collection[int]) -> dict[int, list[Record]]:
    """The sealed records of each job, by its primary key."""
    found: dict[int, list[Record]] = {job: [] for job in jobs}
    for loader in _loaders if jobs else ():
        for job, records in loader(jobs).items():
            found[job] += records
    return found


def written(jobs: Collection[int]) -> QuerySet[Operation]:
    """The operations of some jobs with what consent is held against: their lines and items."""
    lines = Prefetch("lines", SheetLine.objects.select_related("item"))
    return Operation.objects.filter(job__in=jobs).prefetch_related(lines)


def consent_of(job: Job, operations: Iterable[Operation] | None = None, *, exempt: bool | None = None) -> Consent:
    """What may be worked on and billed on a job now, read afresh.

    `operations` spares the reading of the sheet where its operations, lines and items are at hand. `exempt` is whether
    the customer is exempt from tax, where that is asked about too: an exemption that is gone asks for a new yes.
    """
    rows = written([job.pk]) if operations is None else operations
    sheet = [work_of(row, exempt) for row in rows]
    return sold(sheet) if job.is_sale else consent_from(records_of([job.pk])[job.pk], sheet)


def states_of(jobs: Iterable[Job]) -> dict[int, Consent]:
    """How the operations of many jobs stand, for lists: what goes beyond a yes is not looked for.

    The jobs' operations are to be at hand (prefetched); their lines are not read.
    """
    jobs = list(jobs)
    records = records_of([job.pk for job in jobs])
    sheets = {job.pk: [bare_work_of(row) for row in job.operations.all()] for job in jobs}
    return {
        job.pk: sold(sheets[job.pk]) if job.is_sale else consent_from(records[job.pk], sheets[job.pk]) for job in jobs
    }


def authorized(job: Job) -> QuerySet[Operation]:
    """The operations of a job that stand authorized, as they stand on its sheet."""
    return job.operations.filter(pk__in=consent_of(job).all_in("authorized"))


def bare_work_of(operation: Operation) -> Work:
    """An operation of the sheet without its lines."""
    return Work(
        operation.pk,
        operation.title,
        alternative_to=operation.alternative_to_id,
        offered_again_after=operation.offered_again_after,
    )


def work_of(operation: Operation, exempt: bool | None = None) -> Work:
    """An operation of the sheet with its lines; `exempt` as in `consent_of`."""
    return Work(
        operation.pk,
        operation.title,
        tuple(line_of(line) for line in operation.lines.all()),
        operation.alternative_to_id,
        operation.offered_again_after,
        exempt,
    )


def line_of(line: SheetLine) -> Line:
    """A line of the sheet."""
    return Line(
        key=line.pk,
        kind=line.kind,
        what=line.description,
        net=amount(line.quantity, line.unit_price, line.discount),
        tax_class=line.tax_class,
        item=line.item_id,
        thing=(line.item.current_id or line.item_id) if line.item is not None else None,
        finer=line.finer,
        condition=line.condition,
        sublet_to=line.sublet_to,
        if_needed=line.if_needed,
    )
