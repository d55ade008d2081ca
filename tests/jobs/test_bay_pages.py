"""The bay's pages: who may see them, what they say, what they never say, and how often they ask the database."""

import re
import uuid

import pytest
from django.urls import reverse

from jobs.models import FluidSample, JobStep
from tests.budget import assert_budget
from tests.jobs.bay_cast import SAMPLE, Bay, in_bay

MONEY = re.compile(r"61\.20|57\.92|128\.00|153\.60|36\.00|\bprices?\b|\bcosts?\b", re.IGNORECASE)


@pytest.fixture
def bay(shop, people, now) -> Bay:
    return in_bay(people, now)


def sheet(response) -> str:
    """The page's own part, without frame and tokens."""
    text = response.content.decode()
    return re.sub(r'value="[^"]*"', "", text[text.find("<main") :])


def step_post(client, step: JobStep, kind: str = "tick", *, htmx: bool = False, **data: str):
    headers = {"HX-Request": "true"} if htmx else {}
    given = {"event": str(uuid.uuid4()), "base_version": step.version, **data}
    return client.post(reverse("jobs:bay-step", args=[step.pk, kind]), given, headers=headers)


def test_every_page_of_the_bay_opens(bay: Bay, login) -> None:
    client = login("technician")
    bay.do_all()
    job, line, step = bay.job.pk, bay.operation.lines.get(item=bay.fluid).pk, bay.step(3)
    procedure = bay.operation.revision.procedure_id
    pages = [
        reverse("jobs:bay-job", args=[job]),
        reverse("jobs:bay-finish", args=[job]),
        reverse("jobs:advisory", args=[job]),
        reverse("jobs:bay-findings", args=[bay.operation.pk]),
        reverse("jobs:bay-draw", args=[line]),
        reverse("jobs:bay-return", args=[line]),
        reverse("jobs:step-photo", args=[step.pk]),
        reverse("jobs:samples", args=[bay.vehicle.pk, bay.operation.component_id]),
        reverse("jobs:procedures"),
        reverse("jobs:procedure", args=[procedure]),
        reverse("jobs:procedure-revision", args=[procedure, 1]),
        reverse("jobs:procedure-file"),
    ]
    pages += [reverse("jobs:bay-job", args=[job]) + f"?step={bay.step(number).pk}" for number in range(1, 8)]
    for url in pages:
        response = client.get(url)
        assert response.status_code == 200, url
        assert not MONEY.search(sheet(response)), url
