"""Samples of coolant and brake fluid: words and figures of their own, through the bay's page."""

import uuid
from decimal import Decimal

import pytest
from django.urls import reverse

from garage.clock import fixed
from garage.errors import Refused
from jobs.actions.procedures import publish
from jobs.actions.writing_up import add_operation
from jobs.models import JobStep
from jobs.procedure_files import parse
from tests.jobs.bay_cast import PROCEDURE, Bay, in_bay

HEAD = PROCEDURE.partition("steps:")[0].replace("summary:", "fluid kind: {kind}\nsummary:")
LOOK = HEAD + "steps:\n  - {{kind: sample, title: Look at it}}\n  - {{kind: check, title: Wipe dry}}\n"


@pytest.fixture
def look_at(shop, people, now):
    """A job in the bay whose first step looks at a fluid of the given kind."""

    def made(kind: str, specification: str = "TC-75") -> Bay:
        return in_bay(people, now, LOOK.format(kind=kind).replace("TC-75\nrepeat", f"{specification}\nrepeat"))

    return made


def looked(client, step: JobStep, **words: str):
    given = {"event": str(uuid.uuid4()), "shown": step.pk, "base_version": step.version, **words}
    return client.post(reverse("jobs:bay-step", args=[step.pk, "tick"]), given)


def page(client, bay: Bay, step: int = 1) -> str:
    url = reverse("jobs:bay-job", args=[bay.job.pk])
    return client.get(f"{url}?step={bay.step(step).pk}").content.decode()


def test_coolant_is_looked_at_in_its_own_words(look_at, login) -> None:
    bay, client = look_at("coolant"), login("technician")
    form = page(client, bay)
    for word in ("jelly", "oil film", "rust", "scale", "of exhaust or fuel", "Freezes at"):
        assert word in form
    assert "gray paste" not in form
    assert "Water, %" not in form
    seen = {"color": "faded", "clarity": "clear", "particles": "none", "smell": "usual"}
    refused = looked(client, bay.step(1), **seen, freeze_point="34 °F")
    assert refused.status_code == 422
    assert "with its minus, such as −34 °F" in refused.content.decode()
    assert "34 °F" in refused.content.decode()
    assert looked(client, bay.step(1), **{**seen, "particles": "paste"}, freeze_point="-34 °F").status_code == 422
    looked(client, bay.step(1), **seen, freeze_point="-34 °F")
    sample = bay.step(1).sample
    assert (sample.fluid_kind, sample.verdict) == ("coolant", "serviceable")
    assert round(sample.freeze_point, 2) == Decimal("-36.67")
    assert "faded, clear, particles: none, smell: as usual, freezes at −34 °F · −37 °C" in page(client, bay)


def test_brake_fluid_is_judged_by_its_water_and_its_boiling_point(look_at, login) -> None:
    bay, client = look_at("brake fluid", "Brake fluid DOT 4"), login("technician")
    form = page(client, bay)
    for word in ("purple", "in layers", "dark specks", "Water, %", "Boils at"):
        assert word in form
    assert "Smell" not in form
    seen = {"color": "amber", "clarity": "clear", "particles": "none"}
    assert looked(client, bay.step(1), **seen, water="much").status_code == 422
    looked(client, bay.step(1), **seen, water="2.4", boiling_point="150 °C")
    sample = bay.step(1).sample
    # 49 CFR 571.116 S5.1.2: the wet minimum of DOT 4 is 155 °C.
    assert (sample.verdict, sample.water, sample.specification) == ("spent", Decimal("2.4"), "Brake fluid DOT 4")
    shown = page(client, bay)
    assert "amber, clear, particles: none, water: 2.4 %, boils at 150 °C · 302 °F" in shown
    assert "boils too early" in shown
    trend = client.get(reverse("jobs:samples", args=[bay.vehicle.pk, bay.component.pk])).content.decode()
    assert "boils at 150 °C · 302 °F" in trend
    assert "purple or green" in trend


def test_a_procedure_with_a_figure_to_be_filled_in_goes_on_no_job(shop, people, now, login) -> None:
    bay = in_bay(people, now)
    text = PROCEDURE.replace("target: 13, from: 12, to: 14, outside: refuse", "target: to be filled in")
    revision = publish(written=parse(text.replace("0.95 L", "to be filled in")), actor=None, clock=fixed(now))
    with pytest.raises(
        Refused, match=r"To be filled in first: capacity; torque at “Tighten the drain plug” \(target\)"
    ):
        add_operation(job=bay.job, title="Change", revision=revision, actor=people["owner"], clock=fixed(now))
    exported = login("owner").get(reverse("jobs:procedure-export", args=[revision.procedure_id, revision.number]))
    assert "target: to be filled in" in exported.content.decode()
    assert "capacity: to be filled in" in exported.content.decode()
