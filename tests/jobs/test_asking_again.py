"""Which edits of authorized work have to be asked about, and which leave the customer's yes standing."""

from decimal import Decimal

import pytest

from garage.clock import fixed
from garage.models import AuditEntry
from jobs.actions.removing import put_back, remove_line
from jobs.actions.writing_up import edit_operation, save_line
from jobs.models import Job, Operation
from tests.decided import decide, standing
from tests.jobs.counter_cast import LABOR, Counter, at_counter


@pytest.fixture
def counter(shop, people, now) -> Counter:
    return at_counter(people, now)


class TestDecisionsAfterAnEdit:
    """16 CCR 3354(b) (from memory of the project's law notes, A3): another part or method asks for consent again."""

    @pytest.fixture
    def operation(self, counter) -> Operation:
        operation = counter.operation()
        counter.line(operation, LABOR)
        decide(operation=operation, actor=counter.actor, now=counter.now)
        return operation

    def asks(self) -> list[str]:
        """What has to be asked about the operation; an operation that was decided on stays so."""
        row = standing(Operation.objects.get())
        assert row.state == "authorized"
        assert row.asks == bool(row.beyond)
        return [beyond.key for beyond in row.beyond]

    def change(self, counter, operation, **change):
        fields = {**LABOR, **change}
        line = operation.lines.get()
        save_line(operation=operation, line=line, fields=fields, actor=counter.actor, clock=fixed(counter.now))

    def test_a_new_line(self, counter, operation):
        counter.line(operation)
        assert self.asks() == ["added", "amount"]
        assert Job.objects.get().stage == "ready"  # what was agreed to may be begun

    @pytest.mark.parametrize(
        ("change", "asks"),
        [
            ({"condition": "used"}, ["part"]),
            ({"quantity": Decimal(2)}, ["amount"]),
            ({"unit_price": Decimal(129)}, ["amount"]),
            ({"description": "Labor, by two"}, ["part"]),
            ({"tax_class": "fabrication"}, ["taxed"]),
        ],
    )
    def test_another_part_or_a_higher_price(self, counter, operation, change, asks):
        self.change(counter, operation, **change)
        assert self.asks() == asks

    @pytest.mark.parametrize(
        "change", [{"quantity": Decimal(1)}, {"unit_price": Decimal(1)}, {"discount": Decimal("0.1")}]
    )
    def test_not_a_change_downward(self, counter, operation, change):
        self.change(counter, operation, **change)
        assert self.asks() == []

    def test_not_a_line_taken_off_nor_the_undo_of_it(self, counter, operation):
        entry = remove_line(line=operation.lines.get(), actor=counter.actor, clock=fixed(counter.now))
        assert self.asks() == []
        put_back(entry=entry, actor=counter.actor, clock=fixed(counter.now))
        assert self.asks() == []

    def test_a_line_written_in_place_of_the_one_taken_off(self, counter, operation):
        entry = remove_line(line=operation.lines.get(), actor=counter.actor, clock=fixed(counter.now))
        counter.line(operation)
        put_back(entry=entry, actor=counter.actor, clock=fixed(counter.now))
        assert self.asks() == ["added", "amount"]

    def test_another_title_is_other_work_but_what_was_found_and_done_is_not(self, counter, operation):
        edit_operation(
            operation=operation,
            fields={"cause": "worn to 2 mm", "correction": "replaced"},
            actor=counter.actor,
            clock=fixed(counter.now),
        )
        assert self.asks() == []
        edit_operation(
            operation=operation, fields={"title": "Front brake pads"}, actor=counter.actor, clock=fixed(counter.now)
        )
        assert self.asks() == ["method"]
        assert not standing(operation).allows_work
        assert Job.objects.get().stage == "written_up"

    def test_saving_without_a_change_changes_nothing(self, counter, operation):
        before, entries = Job.objects.get().version, AuditEntry.objects.count()
        save_line(
            operation=operation, line=operation.lines.get(), fields=LABOR, actor=counter.actor, clock=fixed(counter.now)
        )
        assert (self.asks(), Job.objects.get().version) == ([], before)
        assert AuditEntry.objects.count() == entries


def test_every_edit_counts_up_the_jobs_version(counter):
    seen = [Job.objects.get().version]
    operation = counter.operation()
    seen.append(Job.objects.get().version)
    line = counter.line(operation)
    seen.append(Job.objects.get().version)
    remove_line(line=line, actor=counter.actor, clock=fixed(counter.now))
    seen.append(Job.objects.get().version)
    assert seen == [1, 2, 3, 4]
