"""The technician's list: jobs in groups, each with what it waits for and one next act. Reads nothing by itself."""

from collections.abc import Iterable
from dataclasses import dataclass

from garage.models import User
from garage.pressing import Act
from jobs import stages
from jobs.models import Job
from jobs.next_act import bay_act
from jobs.queries_bay import BayJob


@dataclass(frozen=True)
class BayRow:
    """A job in the list."""

    job: Job
    heading: str
    work: str
    stage: str
    progress: str
    act: Act


@dataclass(frozen=True)
class Group:
    """Some jobs under one heading."""

    heading: str
    rows: list[BayRow]
    quiet: bool


def groups(jobs: Iterable[BayJob], user: User) -> list[Group]:
    """My jobs first, then those ready to take, those with others, and what the rest waits for; empty ones left out."""
    found: dict[str, list[BayRow]] = {"Mine": [], "Ready to start": [], "With others": [], "Waiting": []}
    for row in jobs:
        job = row.job
        if job.stage == stages.IN_BAY:
            group = "Mine" if job.technician_id in (user.pk, None) else "With others"
        else:
            group = "Ready to start" if row.may_start else "Waiting"
        found[group].append(_row(row, bay_act(job, user, may_start=row.may_start)))
    there = [(heading, rows) for heading, rows in found.items() if rows]
    return [Group(heading, rows, quiet=at > 0) for at, (heading, rows) in enumerate(there)]


def _row(row: BayJob, act: Act) -> BayRow:
    job = row.job
    plate = job.vehicle.plate if job.vehicle else ""
    heading = " · ".join(filter(None, [plate, str(job.vehicle or "no vehicle"), str(job)]))
    where = [f"key {job.key_tag}" if job.key_tag else "", job.parked]
    work = ", ".join(operation.title for operation in row.operations)
    return BayRow(
        job=job,
        heading=heading,
        work=" · ".join(filter(None, [work or "nothing authorized yet", *where])),
        stage=job.stage_sentence,
        progress=f"{row.steps - row.left} of {row.steps}" if row.steps else "",
        act=act,
    )
