"""The stages of a job: what may follow what, the sentence it shows, and what the customer's decisions do to it."""

import datetime as dt
import zoneinfo

import pytest

from garage import dates
from garage.clock import fixed
from garage.errors import Refused
from jobs import stages
from jobs.actions.removing import remove_operation
from jobs.actions.stages import cancel_job, move, start_job
from jobs.models import Job, Stage
from tests.decided import decide, standing, state
from tests.jobs.counter_cast import Counter, at_counter

ZONE = zoneinfo.ZoneInfo("America/New_York")
NOW = dt.datetime(2026, 3, 2, 11, 30, tzinfo=ZONE)


@pytest.fixture
def counter(shop, people, now) -> Counter:
    return at_counter(people, now)


def test_every_stage_has_a_row_in_the_table_and_leads_only_to_stages():
    assert set(stages.FOLLOWS) == set(Stage.values)
    assert set().union(*stages.FOLLOWS.values()) <= set(Stage.values)


def test_every_stage_can_be_reached_from_the_first_one():
    reached, edge = set(), {stages.WRITTEN_UP}
    while edge:
        reached |= edge
        edge = set().union(*(stages.FOLLOWS[stage] for stage in edge)) - reached
    assert reached == set(Stage.values)


@pytest.mark.parametrize(
    ("stage", "waits_for", "said"),
    [
        (stages.WRITTEN_UP, "", "waits for an estimate since 9:02 AM"),
        (stages.AWAITING, "Odile Marrant", "waits for Odile Marrant since 9:02 AM"),
        (stages.READY, "", "waits for the bay since 9:02 AM"),
        (stages.IN_BAY, "Ina Test", "in the bay with Ina Test since 9:02 AM"),
        (stages.IN_BAY, "", "in the bay since 9:02 AM"),
        (stages.FINISHED, "", "finished, waits for the invoice since 9:02 AM"),
        (stages.INVOICED, "", "invoiced, waits for payment since 9:02 AM"),
        (stages.CLOSED, "", "closed 9:02 AM"),
        (stages.CLOSED, "on the house", "closed without an invoice 9:02 AM: on the house"),
        (stages.CANCELED, "sold the car", "canceled 9:02 AM: sold the car"),
    ],
)
def test_a_stage_is_a_sentence_that_says_who_or_what_it_waits_for_and_since_when(stage, waits_for, said):
    assert stages.sentence(stage, waits_for, "9:02 AM") == said


@pytest.mark.parametrize(
    ("moment", "said"),
    [
        (dt.datetime(2026, 3, 2, 5, 5, tzinfo=dt.UTC), "12:05 AM"),
        (dt.datetime(2026, 3, 2, 4, 55, tzinfo=dt.UTC), "Mar 1"),  # still the evening before in New York
        (dt.datetime(2025, 12, 31, 12, 0, tzinfo=dt.UTC), "Dec 31, 2025"),
    ],
)
def test_since_is_said_in_the_shops_own_day(moment, said):
    assert dates.short_day(moment, NOW) == said


def test_a_job_begins_written_up_and_its_trail_says_so(counter):
    assert counter.job.stage == Stage.WRITTEN_UP
    assert [change.stage for change in counter.job.stage_changes.all()] == [Stage.WRITTEN_UP]


def test_a_way_the_table_does_not_know_is_refused_in_words(counter):
    with pytest.raises(Refused, match=r"is written up: it cannot become invoiced\.$"):
        move(counter.job, Stage.INVOICED, actor=counter.actor, clock=fixed(counter.now))
    assert Job.objects.get().stage == Stage.WRITTEN_UP


def test_at_the_stage_where_it_stands_a_job_only_learns_whom_it_waits_for(counter):
    move(counter.job, Stage.AWAITING, waits_for="Odile Marrant", actor=counter.actor, clock=fixed(counter.now))
    later = counter.now + dt.timedelta(hours=1)
    move(counter.job, Stage.AWAITING, waits_for="her brother", actor=counter.actor, clock=fixed(later))
    job = Job.objects.get()
    assert (job.waits_for, job.stage_since) == ("her brother", counter.now)
    assert job.stage_changes.count() == 2


class TestDecisions:
    def decide(self, counter, operation, decision, reason=""):
        decide(operation=operation, decision=decision, reason=reason, actor=counter.actor, now=counter.now)
        counter.job.refresh_from_db()

    def test_the_job_is_ready_when_something_is_authorized(self, counter):
        first, second = counter.operation("Pads"), counter.operation("Fluid")
        self.decide(counter, second, "declined", "next month")
        assert counter.job.stage == Stage.WRITTEN_UP
        self.decide(counter, first, "authorized")
        assert counter.job.stage == Stage.READY
        row = standing(second)
        assert (row.state, row.words, row.at) == ("declined", "next month", counter.now)

    def test_what_is_undecided_does_not_keep_back_what_is_authorized(self, counter):
        first, second = counter.operation("Pads"), counter.operation("Fluid")
        self.decide(counter, first, "authorized")
        assert counter.job.stage == Stage.READY
        assert (state(first), state(second)) == ("authorized", "undecided")

    def test_all_declined_waits_to_be_collected(self, counter):
        self.decide(counter, counter.operation(), "declined")
        assert counter.job.stage_sentence.startswith("waits for collection, all work declined since")

    def test_an_alternative_to_authorized_work_needs_no_answer(self, counter):
        once, twice = counter.operation("One change"), counter.operation("Two changes")
        twice.alternative_to = once
        twice.save()
        self.decide(counter, twice, "authorized")
        assert counter.job.stage == Stage.READY

    def test_work_found_in_the_bay_brings_the_car_back_to_the_bay_once_it_is_answered(self, counter, people):
        self.decide(counter, counter.operation("Pads"), "authorized")
        start_job(job=counter.job, technician=people["technician"], actor=counter.actor, clock=fixed(counter.now))
        found = counter.operation("Seized caliper")
        counter.job.refresh_from_db()
        assert counter.job.stage == Stage.IN_BAY
        move(counter.job, Stage.AWAITING, waits_for="Odile Marrant", actor=counter.actor, clock=fixed(counter.now))
        self.decide(counter, found, "authorized")
        assert counter.job.stage == Stage.IN_BAY
        assert counter.job.stage_sentence.startswith("in the bay with Technician Test since")

    def test_taking_the_only_open_question_off_the_sheet_lets_the_job_go_on(self, counter):
        pads, wipers = counter.operation("Pads"), counter.operation("Wipers")
        self.decide(counter, pads, "authorized")
        move(counter.job, Stage.AWAITING, waits_for="Odile Marrant", actor=counter.actor, clock=fixed(counter.now))
        remove_operation(operation=wipers, actor=counter.actor, clock=fixed(counter.now))
        assert Job.objects.get().stage == Stage.READY


def test_no_work_before_something_is_authorized(counter, people):
    counter.operation()
    with pytest.raises(Refused, match="work may not begin"):
        start_job(job=counter.job, technician=people["technician"], actor=counter.actor, clock=fixed(counter.now))


def test_a_canceled_job_says_why_and_can_be_taken_up_again(counter):
    with pytest.raises(Refused, match="Write why"):
        cancel_job(job=counter.job, reason="  ", actor=counter.actor, clock=fixed(counter.now))
    cancel_job(job=counter.job, reason="sold the car", actor=counter.actor, clock=fixed(counter.now))
    assert counter.job.stage_sentence.endswith(": sold the car")
    move(counter.job, Stage.WRITTEN_UP, actor=counter.actor, clock=fixed(counter.now))
    assert Job.objects.get().waits_for == ""
