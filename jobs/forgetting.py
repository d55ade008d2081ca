"""What the jobs hold of a customer: photos and entries of the history; and the open job that keeps them."""

from collections.abc import Collection, Iterator

from garage.forgetting import Held, register
from garage.models import Customer
from jobs import queries, stages
from jobs.actions.intake import make_findable
from jobs.models import Advisory, Job, JobPhoto, Operation


def register_all() -> None:
    """Let the kernel ask here."""
    register(held, objections, find_anew)


def held(customers: Collection[int]) -> Held:
    """The photos of some customers' jobs, and the records that entries of the history name."""
    jobs = list(Job.objects.filter(customer__in=customers).values_list("pk", flat=True))
    photos = JobPhoto.objects.filter(job__in=jobs).values_list("stored", flat=True)
    noticed = Advisory.objects.filter(job__in=jobs).values_list("stored", flat=True)
    operations = Operation.objects.filter(job__in=jobs).values_list("pk", flat=True)
    return Held(
        files={*photos, *noticed} - {None},
        records={"jobs.job": jobs, "jobs.operation": list(operations)},
    )


def objections(customer: Customer) -> Iterator[str]:
    """A job that is still going on."""
    for job in queries.jobs_of(customer).filter(stage__in=(*stages.OPEN, stages.INVOICED)):
        yield f"{job} is {job.get_stage_display()}: finish it first."


def find_anew(customers: Collection[int]) -> None:
    """Let the jobs be found without the name."""
    for job in Job.objects.filter(customer__in=customers, kind=Job.Kind.VISIT).select_related("customer", "vehicle"):
        make_findable(job)
