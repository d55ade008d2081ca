"""The library of procedures: found, published by a file, kept in revisions, given out again."""

import pytest
from django.urls import reverse

from garage.clock import fixed
from garage.errors import Refused
from jobs.actions.procedures import publish
from jobs.models import Procedure, ProcedureRevision
from jobs.procedure_check import check
from jobs.procedure_files import parse, write
from jobs.queries_procedures import as_written, fitting, library
from jobs.substance import marked
from parts.actions.items import supersede
from tests.jobs.bay_cast import PROCEDURE, Bay, in_bay, stock_item


@pytest.fixture
def bay(shop, people, now) -> Bay:
    return in_bay(people, now)


def test_publishing_the_same_again_makes_no_revision(bay: Bay, people, now) -> None:
    again = publish(written=parse(PROCEDURE), actor=people["owner"], clock=fixed(now))
    assert again == bay.revision
    assert ProcedureRevision.objects.count() == 1


def test_a_change_is_a_new_revision_and_a_job_keeps_the_one_it_started_with(bay: Bay, people, now) -> None:
    changed = PROCEDURE.replace("target: 13", "target: 12.5")
    second = publish(written=parse(changed), actor=people["owner"], clock=fixed(now))
    first = ProcedureRevision.objects.get(number=1)
    assert (second.number, second.state, first.state) == (2, "published", "retired")
    assert Procedure.objects.get().current == second
    bay.operation.refresh_from_db()
    assert bay.revision == first
    written = bay.step(4).written
    assert written is not None
    assert written.target == 13


def test_a_published_revision_is_given_out_as_it_was_taken_in(bay: Bay) -> None:
    # A file that marks no substance is kept, and given out, with the usual one marked.
    assert as_written(bay.revision) == marked(parse(PROCEDURE))
    again = parse(write(as_written(bay.revision)))
    assert again == marked(parse(PROCEDURE))
    assert [step.title for step in again.steps if step.substance] == [
        "Tighten the drain plug",
        "Fill to the edge",
        "Tighten the fill plug",
    ]


def test_the_page_of_a_procedure_names_the_steps_that_count_as_the_service(shop, people, now, login) -> None:
    only_the_fill = PROCEDURE.replace("    uses: fluid\n", "    uses: fluid\n    substance: yes\n")
    bay = in_bay(people, now, only_the_fill)
    assert [step.title for step in bay.revision.steps.filter(substance=True)] == ["Fill to the edge"]
    page = login("technician").get(reverse("jobs:procedure", args=[bay.revision.procedure_id])).content.decode()
    assert page.count("counts as the service</b>") == 1


def test_the_steps_that_a_step_needs_are_kept_shown_and_given_out(shop, people, now, login) -> None:
    needs = PROCEDURE.replace("    tool: 10 mm hex\n", "    tool: 10 mm hex\n    name: drain plug\n").replace(
        "    uses: fluid\n", "    uses: fluid\n    needs: [drain plug]\n"
    )
    bay = in_bay(people, now, needs)
    tighten, fill = bay.revision.steps.get(position=4), bay.revision.steps.get(position=6)
    assert (tighten.name, list(fill.required.all())) == ("drain plug", [tighten])
    page = login("technician").get(reverse("jobs:procedure", args=[bay.revision.procedure_id])).content.decode()
    assert "<small>First: 4 · Tighten the drain plug</small>" in page
    assert parse(write(as_written(bay.revision))) == marked(parse(needs))
    assert publish(written=parse(needs), actor=people["owner"], clock=fixed(now)) == bay.revision
    without = publish(written=parse(PROCEDURE), actor=people["owner"], clock=fixed(now))
    assert without.number == 2, "a need that is taken away is another revision"
    assert not without.steps.get(position=6).required.exists()


def test_an_unknown_item_is_refused_and_named(shop, people, now) -> None:
    with pytest.raises(Refused, match="No item on the shelf is called “TC-75”"):
        publish(written=parse(PROCEDURE), actor=people["owner"], clock=fixed(now))
    assert not Procedure.objects.exists()
    problems = [str(problem) for problem in check(PROCEDURE).problems]
    assert problems[0].startswith("line 18, needs[1].item: No item on the shelf is called “TC-75”")


def test_an_item_counted_otherwise_is_refused(bay: Bay) -> None:
    problems = [str(problem) for problem in check(PROCEDURE.replace("quantity: 0.85 L", "quantity: 2")).problems]
    assert "needs[1].item: Transfer case fluid is counted in liters, but 2 is not." in problems[0]


def test_an_old_number_leads_to_the_product_of_today(bay: Bay, people, now) -> None:
    newer = stock_item("Transfer case fluid II", "TC-76", "L", 1, "1", people["owner"], now)
    supersede(old=bay.fluid, new=newer, on=now.date(), actor=people["owner"], clock=fixed(now))
    revision = publish(written=parse(PROCEDURE), actor=people["owner"], clock=fixed(now))
    assert revision.needs.get(name="fluid").item == newer


def test_the_library_finds_by_component_vehicle_and_words(bay: Bay, people, now) -> None:
    other = PROCEDURE.replace("Transfer case fluid, change", "Coolant, change").replace("Fell 2.4", "Tarn")
    publish(
        written=parse(other.replace("component: Transfer case", "component: Cooling")), actor=None, clock=fixed(now)
    )
    titles = {text: [row.title for row in library(text)] for text in ("transfer", "tarn", "brannock change", "brake")}
    assert titles["transfer"] == ["Transfer case fluid, change"]
    assert titles["tarn"] == ["Coolant, change"]
    assert len(titles["brannock change"]) == 2
    assert titles["brake"] == []
    assert [procedure.title for procedure, _ in fitting(bay.vehicle)] == ["Transfer case fluid, change"]


def test_a_file_is_looked_over_before_it_is_published(bay: Bay, login) -> None:
    client, url = login("technician"), reverse("jobs:procedure-file")
    wrong = client.post(url, {"text": PROCEDURE.replace("hours: 1.2", "hours: soon")})
    assert wrong.status_code == 422
    assert "line 5, hours: “soon” is not a number." in wrong.content.decode()
    assert "hours: soon" in wrong.content.decode()
    changed = PROCEDURE.replace("hours: 1.2", "hours: 1.5")
    looked = client.post(url, {"text": changed})
    assert "gets revision 2 with 7 steps" in looked.content.decode()
    assert ProcedureRevision.objects.count() == 1
    published = client.post(url, {"text": changed, "publish": "1"})
    assert published["Location"] == reverse("jobs:procedure", args=[bay.revision.procedure_id])
    assert ProcedureRevision.objects.get(state="published").number == 2
    assert client.post(url, {"text": ""}).status_code == 422


def test_a_procedure_is_given_out_as_a_file_and_begins_the_next_change(bay: Bay, login) -> None:
    client, pk = login("technician"), bay.revision.procedure_id
    response = client.get(reverse("jobs:procedure-export", args=[pk, 1]))
    assert response["Content-Disposition"] == 'attachment; filename="transfer-case-fluid-change-1.yaml"'
    assert parse(response.content.decode()) == marked(parse(PROCEDURE))
    assert "kind: tighten" in client.get(f"{reverse('jobs:procedure-file')}?of={pk}").content.decode()
    assert client.get(reverse("jobs:procedure-revision", args=[pk, 9])).status_code == 404


def test_the_page_shows_limits_in_both_units_and_whose_data_comes_first(bay: Bay, login) -> None:
    pk = bay.revision.procedure_id
    page = login("technician").get(reverse("jobs:procedure", args=[pk])).content.decode()
    for words in (
        "13 ft·lb",
        "17.6 N·m",
        "OK: 12–14 ft·lb (16.3–19.0 N·m)",
        "0.82 L · 0.87 qt",
        "must check first",
        "The manufacturer’s data and local rules come first.",
        "Brannock Fell 2.4",
    ):
        assert words in page
