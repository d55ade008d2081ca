"""The day of a paper: asked about before its number when the clock may be wrong, through the verbs and the pages."""

import datetime as dt
import uuid
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.utils import timezone

from garage import clockguard, database
from garage.actions.profile import save_profile
from garage.clock import fixed
from garage.errors import Refused
from garage.models import ClockNote, Role
from invoicing.actions.payments import take_payment
from invoicing.models import Invoice
from tests.invoicing.cast import Garage, broken, labor
from tests.invoicing.test_concurrency import at_once
from tests.invoicing.test_pages import text_of

Login = Callable[[str], Client]
DAY = dt.timedelta(days=1)


def issue_at(garage: Garage, moment: dt.datetime, **more: object) -> Invoice:
    """Do an hour's work and bill it at a moment."""
    garage.now = moment
    return garage.issue(garage.done([labor("1")]), **more)


def test_an_earlier_day_than_that_of_a_paper_needs_the_owners_reason_once(garage: Garage) -> None:
    noon, owner = garage.now, garage.people["owner"]
    issue_at(garage, noon + 2 * DAY)  # the clock was two days ahead
    with pytest.raises(Refused, match="a paper is dated Mar 4, 2026 already.*The owner must") as refused:
        issue_at(garage, noon)
    assert refused.value.field == "clock_reason"
    with pytest.raises(Refused, match="The owner must"):
        issue_at(garage, noon, clock_reason="It is today")  # the counter cannot answer
    with pytest.raises(Refused, match="write why"):
        issue_at(garage, noon, actor=owner, clock_reason="  ")
    assert Invoice.objects.count() == 1
    second = issue_at(garage, noon, actor=owner, clock_reason="Odile set the clock two days ahead")
    third = issue_at(garage, noon - DAY)  # covered, by anybody
    assert [second.number, third.number] == [2, 3]
    note = ClockNote.objects.get()
    assert (note.kind, note.day, note.until) == ("back", noon.date(), (noon + 2 * DAY).date())
    assert note.reason == "Odile set the clock two days ahead"
    assert issue_at(garage, noon + 3 * DAY).number == 4  # past the wrong day
    with pytest.raises(Refused, match="a paper is dated Mar 5, 2026 already"):
        issue_at(garage, noon)  # another wrong day is another question
    assert broken() == []


def test_a_clock_set_back_a_day_and_forward_again_leaves_the_book_sound(garage: Garage) -> None:
    noon, owner = garage.now, garage.people["owner"]
    first = issue_at(garage, noon)
    issue_at(garage, noon - DAY, actor=owner, clock_reason="The clock was set back by mistake")
    last = issue_at(garage, noon)
    take_payment(
        key=uuid.uuid4(), invoice=first, amount=first.gross, method="cash", actor=owner, clock=fixed(noon - DAY)
    )
    garage.credit(last)
    assert broken() == []


def test_a_paper_dated_back_behind_the_programs_back_is_named(garage: Garage) -> None:
    issue_at(garage, garage.now)
    garage.now += DAY
    invoice = garage.issue(garage.done([labor("1")]))
    assert broken() == []
    database.remove_guards(connection)
    try:
        Invoice.objects.filter(pk=invoice.pk).update(issued_on=garage.today - 5 * DAY)
    finally:
        database.install(connection)
    assert any("nobody answered for it" in sentence for sentence in broken())


def test_a_silence_of_more_than_a_month_is_asked_about_and_what_was_written_today_does_not_vouch(
    garage: Garage,
) -> None:
    noon, owner = garage.now, garage.people["owner"]
    issue_at(garage, noon)
    issue_at(garage, noon + 30 * DAY)
    with pytest.raises(Refused, match="last entry of the book was written on Apr 1, 2026"):
        issue_at(garage, noon + 61 * DAY)
    issue_at(garage, noon + 61 * DAY, actor=owner, clock_reason="We were closed in April")
    issue_at(garage, noon + 61 * DAY)
    issue_at(garage, noon + 62 * DAY)
    assert ClockNote.objects.get().kind == "silence" and broken() == []


@pytest.fixture
def real(garage: Garage) -> Garage:
    """A garage that lives by the real clock."""
    garage.now = timezone.now()
    garage.rates(parts="0.0725", labor="0")
    return garage


def test_a_clock_that_leapt_ahead_is_asked_about_on_the_page(
    real: Garage, login: Login, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = real.done([labor("1")])
    address = f"/jobs/{job.pk}/invoice/"
    sent = {"key": str(uuid.uuid4()), "due_on": (real.now + 20 * DAY).date().isoformat(), "mail_to": "o@example.com"}
    monkeypatch.setattr(clockguard, "STARTED", clockguard.STARTED - 2 * 3600)  # when the program began it was earlier
    counter, owner = login(Role.COUNTER), login(Role.OWNER)
    shown = text_of(counter.get(address))
    assert "leapt ahead by 2 hours" in shown and "The owner must" in shown and "clock_reason" not in shown
    assert counter.post(address, sent).status_code == 422 and not Invoice.objects.exists()
    refused = owner.post(address, sent)
    assert refused.status_code == 422 and 'name="clock_reason"' in text_of(refused)
    assert sent["due_on"] in text_of(refused) and "o@example.com" in text_of(refused)  # nothing typed is lost
    assert owner.post(address, {**sent, "clock_reason": "The battery was replaced"}).status_code == 303
    invoice = Invoice.objects.get()
    assert ClockNote.objects.get().kind == "leap"
    assert counter.post(f"/jobs/{real.done([labor('1')]).pk}/invoice/", {"key": str(uuid.uuid4()),
                        "due_on": sent["due_on"]}).status_code == 303  # fmt: skip
    assert "leapt" not in text_of(counter.get(f"/invoices/{invoice.pk}/credit/"))


def test_a_credit_note_is_asked_about_alike(real: Garage, login: Login, monkeypatch: pytest.MonkeyPatch) -> None:
    invoice = real.issue(real.done([labor("1")]))
    monkeypatch.setattr(clockguard, "STARTED", clockguard.STARTED - 3 * 3600)
    address, line = f"/invoices/{invoice.pk}/credit/", invoice.operations.get().lines.get()
    sent = {"key": str(uuid.uuid4()), "reason": "Half an hour too much", f"line_{line.pk}": "0.5"}
    assert "The owner must" in text_of(login(Role.COUNTER).get(address))
    refused = login(Role.OWNER).post(address, sent)
    assert refused.status_code == 422 and "Half an hour too much" in text_of(refused)
    assert login(Role.OWNER).post(address, {**sent, "clock_reason": "It is right now"}).status_code == 303
    assert invoice.credit_notes.get().number == 2


# Days, years and zones


@pytest.mark.parametrize(
    ("zone", "moment", "label", "due"),
    [
        # 11:30 in Greenwich on New Year's Eve is half past midnight in Auckland, and still the old year in New York.
        ("Pacific/Auckland", dt.datetime(2026, 12, 31, 11, 30, tzinfo=dt.UTC), "2027-0001", dt.date(2027, 1, 15)),
        ("America/New_York", dt.datetime(2026, 12, 31, 11, 30, tzinfo=dt.UTC), "2026-0001", dt.date(2027, 1, 14)),
        ("America/New_York", dt.datetime(2027, 1, 1, 4, 59, tzinfo=dt.UTC), "2026-0001", dt.date(2027, 1, 14)),
        ("Asia/Kolkata", dt.datetime(2026, 12, 31, 18, 30, tzinfo=dt.UTC), "2027-0001", dt.date(2027, 1, 15)),
    ],
)
def test_the_series_and_the_due_day_follow_the_shops_own_day(
    garage: Garage, zone: str, moment: dt.datetime, label: str, due: dt.date
) -> None:
    owner = garage.people["owner"]
    save_profile(fields={"time_zone": zone}, actor=owner, clock=fixed(moment - DAY))
    invoice = issue_at(garage, moment)
    assert (invoice.label, invoice.due_on) == (label, due)
    assert invoice.issued_on == due - 14 * DAY


def test_a_new_year_begins_a_series_of_its_own(garage: Garage) -> None:
    eve = dt.datetime(2026, 12, 31, 17, 0, tzinfo=dt.UTC)
    issue_at(garage, eve - 20 * DAY, actor=garage.people["owner"], clock_reason="Closed since March")
    for days in (0, 1):
        issue_at(garage, eve + days * DAY)
    labels = list(Invoice.objects.order_by("pk").values_list("label", flat=True))
    assert labels == ["2026-0001", "2026-0002", "2027-0001"]


def test_six_issued_at_once_are_numbered_in_the_order_of_their_moments(transactional_db: None, garage: Garage) -> None:
    jobs = [garage.done([labor("1")]) for _ in range(6)]
    ticks = iter(range(1, 1000))

    def clock() -> dt.datetime:
        return garage.now + dt.timedelta(seconds=next(ticks))

    issued = at_once([lambda job=job: garage.issue(job, clock=clock) for job in jobs])  # type: ignore[misc]
    rows = sorted(issued, key=lambda row: row.number)
    assert [row.number for row in rows] == [1, 2, 3, 4, 5, 6]
    assert [row.issued_at for row in rows] == sorted(row.issued_at for row in rows)
    assert broken() == []
