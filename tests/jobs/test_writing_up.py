"""Writing up the work: procedures bring their price, edits ask the customer again, removal can be undone."""

import datetime as dt
import uuid
from decimal import Decimal

import pytest

from garage.changes import Stale
from garage.clock import fixed
from garage.errors import Refused
from jobs import queries
from jobs.actions.draws import draw_for_line, return_from_line
from jobs.actions.evidence import photograph_step
from jobs.actions.removing import FOR_A_WHILE, put_back, remove_line, remove_operation
from jobs.actions.stages import start_job
from jobs.actions.writing_up import (
    LINE_FIELDS,
    OPERATION_FIELDS,
    add_operation,
    edit_operation,
    move_operation,
    save_line,
    take_up,
)
from jobs.models import Advisory, Draw, Job, Line, Operation
from jobs.seen import mark
from parts.actions.items import save_item, supersede
from tests.decided import decide, state
from tests.jobs.counter_cast import FLUID, LABOR, PART, Counter, at_counter, picture, transfer_fluid_change


@pytest.fixture
def counter(shop, people, now) -> Counter:
    return at_counter(people, now)


def authorized(counter: Counter, operation: Operation) -> Operation:
    decide(operation=operation, decision="authorized", actor=counter.actor, now=counter.now)
    return operation


class TestFromAProcedure:
    def test_labor_at_the_shops_rate_and_a_line_for_each_need_at_todays_price(self, counter):
        revision, fluid, washer = transfer_fluid_change(counter.actor, counter.now)
        operation = counter.operation("Transfer case fluid, change", revision=revision)
        lines = [(row.kind, row.quantity, row.unit, row.unit_price, row.tax_class) for row in operation.lines.all()]
        assert lines == [
            ("labor", Decimal("1.2"), "h", Decimal(128), "labor"),
            ("fluid", Decimal("0.85"), "L", Decimal("61.20"), "parts"),
            ("part", Decimal(2), "each", Decimal("61.20"), "parts"),
        ]
        assert [row.item for row in operation.lines.all()] == [None, fluid, washer]
        assert [row.condition for row in operation.lines.all()] == ["", "new", "new"]

    def test_the_job_keeps_the_revision_and_its_steps(self, counter):
        revision, _, _ = transfer_fluid_change(counter.actor, counter.now)
        operation = counter.operation("Transfer case fluid, change", revision=revision)
        assert operation.revision == revision
        assert operation.component == revision.procedure.component
        assert [step.title for step in operation.steps.all()] == [step.title for step in revision.steps.all()]

    def test_an_item_that_was_replaced_is_charged_as_its_successor(self, counter):
        revision, fluid, _ = transfer_fluid_change(counter.actor, counter.now)
        newer = save_item(
            actor=counter.actor,
            clock=fixed(counter.now),
            fields={"kind": "fluid", "name": "TC-76", "base_unit": "L", "price": Decimal("63")},
        )
        supersede(old=fluid, new=newer, on=counter.now.date(), note="", actor=counter.actor, clock=fixed(counter.now))
        line = counter.operation("Change", revision=revision).lines.get(kind="fluid")
        assert (line.item, line.unit_price) == (newer, Decimal(63))


def test_an_operation_needs_a_title(counter):
    with pytest.raises(Refused, match="title") as refused:
        counter.operation("  ")
    assert refused.value.field == "title"


def test_an_advisory_of_an_earlier_visit_is_taken_up_and_is_open_again_when_taken_off(counter):
    advisory = counter.advisory("Rear pads 3 mm")
    operation = take_up(job=counter.job, offer=advisory, actor=counter.actor, clock=fixed(counter.now))
    advisory.refresh_from_db()
    assert (operation.title, advisory.operation, advisory.state) == ("Rear pads 3 mm", operation, "offered")
    entry = remove_operation(operation=operation, actor=counter.actor, clock=fixed(counter.now))
    assert Advisory.objects.get().state == "open"
    put_back(entry=entry, actor=counter.actor, clock=fixed(counter.now))
    advisory.refresh_from_db()
    assert (advisory.operation_id, advisory.state) == (operation.pk, "offered")


class TestTwoCounters:
    def test_the_second_is_told_and_nothing_is_overwritten(self, counter, people):
        operation = counter.operation()
        line = counter.line(operation)
        seen = mark(line, *LINE_FIELDS)
        save_line(
            operation=operation,
            line=line,
            fields={**PART, "unit_price": Decimal(80)},
            version=seen,
            actor=counter.actor,
            clock=fixed(counter.now),
        )
        with pytest.raises(Stale, match="Somebody else changed “Pad set, rear”") as stale:
            save_line(
                operation=operation,
                line=line,
                fields={**PART, "unit_price": Decimal(70)},
                version=seen,
                actor=people["owner"],
                clock=fixed(counter.now),
            )
        assert Line.objects.get().unit_price == Decimal(80)
        assert stale.value.version == mark(Line.objects.get(), *LINE_FIELDS)

    def test_another_line_of_the_same_job_stops_nobody(self, counter, people):
        operation = counter.operation()
        line = counter.line(operation)
        seen = mark(line, *LINE_FIELDS)
        counter.line(operation, LABOR)
        save_line(
            operation=operation,
            line=line,
            fields={**PART, "quantity": Decimal(2)},
            version=seen,
            actor=people["owner"],
            clock=fixed(counter.now),
        )
        assert Line.objects.get(pk=line.pk).quantity == 2

    def test_words_of_an_operation(self, counter):
        operation = counter.operation()
        seen = mark(operation, *OPERATION_FIELDS)
        edit_operation(
            operation=operation, fields={"cause": "worn"}, version=seen, actor=counter.actor, clock=fixed(counter.now)
        )
        with pytest.raises(Stale):
            edit_operation(
                operation=operation,
                fields={"cause": "fine"},
                version=seen,
                actor=counter.actor,
                clock=fixed(counter.now),
            )
        assert Operation.objects.get().cause == "worn"

    def test_a_second_click_after_the_line_was_removed_is_told_so(self, counter):
        given = {"key": uuid.uuid4(), "operation": counter.operation(), "fields": PART, "actor": counter.actor}
        line = save_line(**given, clock=fixed(counter.now))
        remove_line(line=line, actor=counter.actor, clock=fixed(counter.now))
        with pytest.raises(Refused, match="what it wrote was removed since"):
            save_line(**given, clock=fixed(counter.now))
        assert not Line.objects.exists()

    def test_a_line_removed_meanwhile(self, counter):
        operation = counter.operation()
        line = counter.line(operation)
        stale = Line.objects.get(pk=line.pk)
        remove_line(line=line, actor=counter.actor, clock=fixed(counter.now))
        with pytest.raises(Refused, match="was removed from the sheet while your form was open"):
            save_line(operation=operation, line=stale, fields=PART, actor=counter.actor, clock=fixed(counter.now))


def test_the_same_figure_in_another_unit_is_another_quantity(counter):
    line = counter.line(counter.operation(), FLUID)
    changed = save_line(
        operation=line.operation, line=line, fields={"unit": "qt"}, actor=counter.actor, clock=fixed(counter.now)
    )
    # 1 US qt is 0.946352946 L (NIST Handbook 44, Appendix C).
    assert (changed.quantity, changed.base_quantity) == (Decimal("1.7"), Decimal("1.608800008"))


class TestOrder:
    def titles(self) -> list[str]:
        return [operation.title for operation in Operation.objects.all()]

    def test_an_operation_moves_one_place_and_stays_at_the_end(self, counter):
        first, _, third = (counter.operation(title) for title in "ABC")
        move_operation(operation=third, up=True, actor=counter.actor, clock=fixed(counter.now))
        assert self.titles() == ["A", "C", "B"]
        move_operation(operation=first, up=True, actor=counter.actor, clock=fixed(counter.now))
        assert self.titles() == ["A", "C", "B"]
        move_operation(operation=first, up=False, actor=counter.actor, clock=fixed(counter.now))
        assert self.titles() == ["C", "A", "B"]

    def test_the_order_of_the_sheet_asks_nobody_again(self, counter):
        first, second = counter.operation("A"), counter.operation("B")
        authorized(counter, first)
        move_operation(operation=second, up=True, actor=counter.actor, clock=fixed(counter.now))
        assert state(Operation.objects.get(title="A")) == "authorized"


class TestRemoving:
    def test_a_line_comes_back_exactly_as_it_was_and_only_once(self, counter):
        operation = counter.operation()
        line = counter.line(operation, FLUID, discount=Decimal("0.1"))
        before = Line.objects.values().get()
        entry = remove_line(line=line, actor=counter.actor, clock=fixed(counter.now))
        assert not Line.objects.exists()
        for _ in range(2):
            put_back(entry=entry, actor=counter.actor, clock=fixed(counter.now))
        assert Line.objects.values().get() == before

    def test_an_operation_comes_back_with_its_lines_and_steps_at_the_end_of_the_sheet(self, counter):
        revision, _, _ = transfer_fluid_change(counter.actor, counter.now)
        operation = counter.operation("Transfer case fluid", revision=revision)
        lines, steps = list(operation.lines.values()), list(operation.steps.values())
        entry = remove_operation(operation=operation, actor=counter.actor, clock=fixed(counter.now))
        counter.operation("Wipers")
        put_back(entry=entry, actor=counter.actor, clock=fixed(counter.now))
        back = Operation.objects.get(title="Transfer case fluid")
        assert (list(back.lines.values()), list(back.steps.values())) == (lines, steps)
        assert [row.title for row in counter.job.operations.all()] == ["Wipers", "Transfer case fluid"]

    def test_after_a_while_it_is_written_again_instead(self, counter):
        line = counter.line(counter.operation())
        entry = remove_line(line=line, actor=counter.actor, clock=fixed(counter.now))
        with pytest.raises(Refused, match="too long ago"):
            put_back(entry=entry, actor=counter.actor, clock=fixed(counter.now + FOR_A_WHILE + dt.timedelta(seconds=1)))

    def test_an_old_undo_does_not_bring_back_what_was_removed_a_second_time(self, counter):
        line = counter.line(counter.operation())
        first = remove_line(line=line, actor=counter.actor, clock=fixed(counter.now))
        put_back(entry=first, actor=counter.actor, clock=fixed(counter.now))
        remove_line(line=Line.objects.get(), actor=counter.actor, clock=fixed(counter.now))
        with pytest.raises(Refused, match="removed again since"):
            put_back(entry=first, actor=counter.actor, clock=fixed(counter.now))

    def test_a_line_whose_operation_went_too(self, counter):
        operation = counter.operation()
        entry = remove_line(line=counter.line(operation), actor=counter.actor, clock=fixed(counter.now))
        remove_operation(operation=operation, actor=counter.actor, clock=fixed(counter.now))
        with pytest.raises(Refused, match="put that back first"):
            put_back(entry=entry, actor=counter.actor, clock=fixed(counter.now))

    def test_a_core_whose_part_went_too(self, counter):
        pads = save_item(
            actor=counter.actor,
            clock=fixed(counter.now),
            fields={"kind": "part", "name": "Pads", "base_unit": "each", "core_deposit": Decimal(15)},
        )
        line = counter.line(counter.operation(), PART, item=pads)
        core = remove_line(line=line.hanging.get(), actor=counter.actor, clock=fixed(counter.now))
        part = remove_line(line=line, actor=counter.actor, clock=fixed(counter.now))
        with pytest.raises(Refused, match="was removed too: put that back first"):
            put_back(entry=core, actor=counter.actor, clock=fixed(counter.now))
        for entry in (part, core):
            put_back(entry=entry, actor=counter.actor, clock=fixed(counter.now))
        assert [row.finer for row in Line.objects.order_by("pk")] == ["", "core"]

    def test_an_operation_whose_bay_has_a_photo_stays(self, counter):
        revision, _, _ = transfer_fluid_change(counter.actor, counter.now)
        operation = counter.operation("Transfer case fluid, change", revision=revision)
        photograph_step(
            key=uuid.uuid4(),
            step=operation.steps.get(position=2),
            upload=picture(),
            actor=counter.actor,
            clock=fixed(counter.now),
        )
        with pytest.raises(Refused, match="has begun: it stays on the sheet"):
            remove_operation(operation=operation, actor=counter.actor, clock=fixed(counter.now))
        assert counter.job.photos.count() == 1

    def test_declined_work_stays_on_record(self, counter):
        operation = counter.operation()
        decide(operation=operation, decision="declined", actor=counter.actor, now=counter.now)
        with pytest.raises(Refused, match="stays on record"):
            remove_operation(operation=operation, actor=counter.actor, clock=fixed(counter.now))

    def test_nor_can_it_be_emptied_line_by_line(self, counter):
        operation = counter.operation()
        line = counter.line(operation)
        decide(operation=operation, decision="declined", actor=counter.actor, now=counter.now)
        acts = [
            lambda: remove_line(line=line, actor=counter.actor, clock=fixed(counter.now)),
            lambda: counter.line(operation),
            lambda: save_line(
                operation=operation, line=line, fields={**PART, "unit_price": Decimal(1)}, actor=counter.actor,
                clock=fixed(counter.now),
            ),
            lambda: edit_operation(
                operation=operation, fields={"title": "Other"}, actor=counter.actor, clock=fixed(counter.now)
            ),
        ]  # fmt: skip
        for act in acts:
            with pytest.raises(Refused, match="offer it again"):
                act()
        assert state(operation) == "declined"


class TestDrawn:
    @pytest.fixture
    def line(self, counter, people) -> Line:
        revision, _, _ = transfer_fluid_change(counter.actor, counter.now)
        operation = counter.operation("Transfer case fluid", revision=revision)
        authorized(counter, operation)
        start_job(job=counter.job, technician=people["technician"], actor=counter.actor, clock=fixed(counter.now))
        line = operation.lines.get(kind="fluid")
        draw_for_line(
            key=uuid.uuid4(), line=line, quantity=Decimal("0.85"), actor=people["technician"], clock=fixed(counter.now)
        )
        return line

    def give_back(self, counter, line, quantity: str) -> None:
        return_from_line(
            key=uuid.uuid4(), line=line, quantity=Decimal(quantity), actor=counter.actor, clock=fixed(counter.now)
        )

    def test_what_was_used_is_what_was_drawn_less_what_came_back(self, counter, line):
        assert queries.used_on(line) == queries.Used(Decimal("0.85"), Decimal("30.60"), {line.item_id: Decimal("0.85")})
        self.give_back(counter, line, "0.10")
        assert queries.used_on(line) == queries.Used(Decimal("0.75"), Decimal("27.00"), {line.item_id: Decimal("0.75")})

    def test_a_line_with_something_drawn_stays_until_it_is_back_on_the_shelf(self, counter, line):
        with pytest.raises(Refused, match="return it to the shelf first"):
            remove_line(line=line, actor=counter.actor, clock=fixed(counter.now))
        with pytest.raises(Refused, match="return it to the shelf first"):
            remove_operation(operation=line.operation, actor=counter.actor, clock=fixed(counter.now))
        self.give_back(counter, line, "0.85")
        entry = remove_line(line=line, actor=counter.actor, clock=fixed(counter.now))
        assert not Draw.objects.exists()
        put_back(entry=entry, actor=counter.actor, clock=fixed(counter.now))
        assert Draw.objects.count() == 1

    def test_its_item_is_not_exchanged_under_it(self, counter, line):
        other = save_item(
            actor=counter.actor, clock=fixed(counter.now), fields={"kind": "fluid", "name": "Other", "base_unit": "L"}
        )
        with pytest.raises(Refused, match="its item stays"):
            save_line(
                operation=line.operation,
                line=line,
                fields={**FLUID, "item": other},
                actor=counter.actor,
                clock=fixed(counter.now),
            )


def test_work_of_a_canceled_job_is_no_longer_changed(counter):
    operation = counter.operation()
    Job.objects.update(stage="canceled")
    for act in (
        lambda: counter.line(operation),
        lambda: counter.operation("More"),
        lambda: remove_operation(operation=operation, actor=counter.actor, clock=fixed(counter.now)),
    ):
        with pytest.raises(Refused, match="is canceled: its work can no longer be changed"):
            act()


def test_sublet_work_names_who_does_it(counter):
    fields = {**PART, "kind": "sublet", "tax_class": "sublet", "sublet_to": " "}
    with pytest.raises(Refused, match="Write who does the sublet work") as refused:
        counter.line(counter.operation(), fields)
    assert refused.value.field == "sublet_to"


def test_a_described_need_written_as_a_volume_is_fluid(counter):
    revision, _, _ = transfer_fluid_change(counter.actor, counter.now)
    revision.needs.create(description="Any hypoid oil", quantity=Decimal("0.5"), typed="0.5 L", position=9)
    revision.needs.create(description="Clip", quantity=Decimal(1), typed="1", position=10)
    operation = add_operation(
        job=counter.job, title="Change", revision=revision, actor=counter.actor, clock=fixed(counter.now)
    )
    assert [row.kind for row in operation.lines.order_by("position")][-2:] == ["fluid", "part"]
