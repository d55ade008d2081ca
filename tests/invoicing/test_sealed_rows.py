"""Sealed rows: a stranger with the page works every hash out anew, tables may grow, and nobody is named in clear."""

import datetime as dt
import os
import uuid
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from django.db import connection, models

from garage import checks, database, ledger, promises
from garage.actions.customers import save_customer
from garage.actions.erasing import erase_side_rows
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.models import AuditEntry, ClockNote, SideRow
from invoicing.actions.payments import reverse_payment
from invoicing.models import Authorization, Invoice, InvoiceLine, Payment, PaymentPart
from jobs.actions.intake import change_job
from jobs.actions.removing import put_back, remove_line
from jobs.models import Line
from parts.actions.stock import waste
from parts.models import Container, Movement
from tests import stranger
from tests.invoicing.cast import Garage, charge, labor, part

D = Decimal
PAGE = Path(__file__).parents[2] / "docs" / "sealed-rows.md"
KINDS = {
    models.BooleanField: "flag",
    models.DateTimeField: "moment",
    models.DateField: "day",
    models.JSONField: "json",
    models.CharField: "text",
    models.TextField: "text",
    models.IntegerField: "figure",
    models.ForeignKey: "figure",
}


@pytest.fixture
def book(garage: Garage) -> Garage:
    """A small book with something in every sealed table: work declined and done, paid, moved, taken back, credited."""
    fluid = garage.fluid()
    job = garage.job([labor("1"), part(), garage.poured(fluid, "0.85")], [part("Boot, “left”", "12.50")])
    second = job.operations.last()
    assert second is not None
    rotor = charge("Rotor", "80.00", "sublet", "sublet", sublet_to="Ilse Brandt, turner")
    sublet = garage.line(second, **rotor)
    change_job(job=job, fields={"order_number": "PO Marrant 7"}, actor=garage.actor, clock=at(garage))
    entry = remove_line(line=sublet, actor=garage.actor, clock=fixed(garage.now))
    put_back(entry=entry, actor=garage.actor, clock=fixed(garage.now))
    garage.authorize(garage.estimate(job), declined={second.pk: "Ask my brother Tam first"})
    garage.into_bay(job)
    garage.draw(Line.objects.get(item=fluid), "0.85")
    garage.bring_back(Line.objects.get(item=fluid), "0.05")
    garage.deposit(job, "20.00", reference="check 1043 of Tam Marrant")
    first = garage.issue(garage.finish(job))
    other = garage.issue(garage.done([part("Clip", "3.33", "3")], customer=job.customer))
    paid = garage.pay(first, "100.00", method="check", reference="check 1044 of Tam Marrant")
    reverse_payment(key=uuid.uuid4(), payment=paid, reason="Tam’s check bounced", actor=garage.actor, clock=at(garage))
    garage.pay(first, "50.00")
    garage.pay(other, "5.00")
    garage.credit(other, lines={InvoiceLine.objects.get(description="Clip").pk: D(1)}, reason="Odile brought one back")
    container = Container.objects.filter(content=1).first()
    assert container is not None
    waste(key=uuid.uuid4(), container=container, quantity=D("0.1"), reason="Tam spilled", actor=None, clock=at(garage))
    note = {"kind": "back", "at": garage.now, "day": garage.today, "until": garage.today, "machine_start": 0}
    ledger.append(ClockNote(**note, by=garage.people["owner"], **ledger.aside(reason="Tam set the clock ahead")))
    garage.now -= dt.timedelta(hours=1)  # the clock is set back: the rows from here on carry a mark
    garage.pay(first, "1.00")
    return garage


def at(garage: Garage) -> Clock:
    return fixed(garage.now)


@pytest.fixture
def unguarded(db: None) -> Iterator[None]:
    """Somebody with the database file open and the triggers dropped."""
    database.remove_guards(connection)
    yield
    database.install(connection)


def run(sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        assert cursor.rowcount > 0


def dump() -> stranger.Dump:
    """The rows of all sealed tables, of their side rows and counters, as SQL gives them."""
    tables = [model._meta.db_table for model in ledger.sealed_models()]
    found: stranger.Dump = {}
    with connection.cursor() as cursor:
        for table in [*tables, "garage_siderow", "garage_counter"]:
            cursor.execute(f"SELECT * FROM {table}")
            names = [column[0] for column in cursor.description]
            found[table] = [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
    return found


def faults() -> list[str]:
    return list(stranger.Stranger(PAGE.read_text(encoding="utf-8"), dump()).faults())


def breaches() -> list[str]:
    """What `books_check` names, but that the triggers are off: these tests drop them."""
    guards = "append-only tables are guarded"
    assert guards in promises.names()
    return [sentence for name, sentences in promises.run() if name != guards for sentence in sentences]


def kind_of(field: models.Field) -> str:
    return next(kind for of, kind in KINDS.items() if isinstance(field, of))


def lists_of_the_code() -> str:
    """The lists as the page has them."""
    page = ""
    for model in sorted(ledger.sealed_models(), key=lambda one: one._meta.db_table):
        fields = {field.attname: field for field in model._meta.concrete_fields}
        page += f"\n### {model._meta.db_table}\n\n| format | kind | columns |\n| --- | --- | --- |\n"
        for number, listed in enumerate(model.FORMATS, start=1):
            kinds: dict[str, list[str]] = {}
            for name, column in ledger.columns(listed).items():
                word = name if name == column else f"{name}={column}"
                kinds.setdefault(kind_of(fields[column]), []).append(word)
            page += "".join(f"| {number} | {kind} | {' '.join(words)} |\n" for kind, words in sorted(kinds.items()))
    return page


def test_the_page_lists_what_the_program_hashes() -> None:
    """After a deliberate change: SUMPBOOK_WRITE_FORMATS=1 pytest tests/invoicing/test_sealed_rows.py."""
    said = PAGE.read_text(encoding="utf-8")
    mark = "tests/invoicing/test_sealed_rows.py -->\n"
    if os.environ.get("SUMPBOOK_WRITE_FORMATS"):
        PAGE.write_text(said.partition(mark)[0] + mark + lists_of_the_code(), encoding="utf-8")
    assert PAGE.read_text(encoding="utf-8").partition(mark)[2] == lists_of_the_code()


def test_every_sealed_table_is_listed_by_its_columns_of_today() -> None:
    assert [(model, ledger.unlisted(model)) for model in ledger.sealed_models() if ledger.unlisted(model)] == []
    assert checks.formats(None) == []


def test_a_stranger_works_out_every_hash_from_the_page_alone(book: Garage) -> None:
    assert all(dump().values()), "a sealed table is empty: nothing is shown of it"
    assert faults() == []
    assert breaches() == []


@pytest.mark.usefixtures("unguarded")
@pytest.mark.parametrize(
    "tampering",
    [
        "UPDATE garage_auditentry SET details = '{}' WHERE verb = 'issued'",
        "UPDATE garage_siderow SET data = '{\"name\": \"Somebody Else\"}'",
        "UPDATE parts_movement SET value = value + 1 WHERE chain_seq = 2",
        "UPDATE invoicing_estimate SET taxes = '[]'",
        "UPDATE invoicing_estimateoperation SET counted = NOT counted",
        "UPDATE invoicing_estimateline SET quantity = quantity + 1",
        "UPDATE invoicing_authorization SET limit_gross = limit_gross + 1",
        "UPDATE invoicing_authorizationoperation SET net = net + 1",
        "UPDATE invoicing_invoice SET consent_seq = consent_seq + 1 WHERE kind = 'invoice'",
        "UPDATE invoicing_invoice SET due_on = '2031-01-01'",
        "UPDATE invoicing_invoiceoperation SET title = 'Another'",
        "UPDATE invoicing_invoiceline SET cost = cost + 1",
        "UPDATE invoicing_invoicetax SET rate = rate + 1",
        "UPDATE invoicing_payment SET method = 'cash'",
        "UPDATE invoicing_payment SET paid_on = '2026-01-05'",
        "UPDATE invoicing_allocation SET amount = amount + 1",
        "UPDATE invoicing_allocation SET content_sha256 = row_hash",
        "UPDATE invoicing_paymentpart SET amount = amount + 1",
        "UPDATE invoicing_paymentpart SET of_id = of_id + 1 WHERE of_id IS NOT NULL",
        "UPDATE invoicing_paymentpart SET sealed_format = 7",
    ],
)  # fmt: skip
def test_a_change_is_found_by_the_stranger_and_by_the_program(book: Garage, tampering: str) -> None:
    run(tampering)
    assert breaches() != []
    if "sealed_format" not in tampering:  # of a format that the page does not have, a stranger can say nothing
        assert faults() != []


@pytest.mark.usefixtures("unguarded")
def test_money_moved_to_another_invoice_behind_the_programs_back_is_found(book: Garage) -> None:
    """With the running sums moved along, so that everything adds up: 5.00 paid on one invoice stand on the other."""
    first, other = Invoice.objects.filter(kind="invoice").order_by("pk")
    run(f"UPDATE invoicing_paymentpart SET invoice_id = {first.pk} WHERE invoice_id = {other.pk}")
    run(f"UPDATE invoicing_receivable SET balance = balance - 500 WHERE invoice_id = {first.pk}")
    run(f"UPDATE invoicing_receivable SET balance = balance + 500 WHERE invoice_id = {other.pk}")
    found = breaches()
    assert len(found) == 1 and "its parts are not those that were sealed" in found[0], found


@pytest.mark.usefixtures("unguarded")
def test_a_deposit_moved_to_another_job_behind_the_programs_back_is_found(book: Garage) -> None:
    """Both where it was received and where it was applied, so that it stands on neither job."""
    other = Invoice.objects.filter(kind="invoice").order_by("pk")[1].job_id
    run(f"UPDATE invoicing_paymentpart SET job_id = {other} WHERE job_id IS NOT NULL")
    said = [sentence.partition(": ")[2] for sentence in breaches()]
    assert said == ["its parts are not those that were sealed"] * 2
    assert len(faults()) == 2


@pytest.fixture
def drawer(garage: Garage) -> Iterator[models.Field]:
    """A column more on payments, as a later release might add it: in the table and in the model."""
    field = models.CharField(max_length=20, default="")
    Payment.add_to_class("drawer", field)
    yield field
    Payment._meta.local_fields.remove(field)
    Payment._meta._expire_cache()  # type: ignore[attr-defined]
    del Payment.drawer  # type: ignore[attr-defined]


def test_a_table_may_grow(garage: Garage, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Old rows stay sound, the check names the list to extend, new rows are sealed with the new column."""
    invoice = garage.issue(garage.done([part()]))
    old = garage.pay(invoice, "10.00")
    connection.check_constraints()  # what PostgreSQL has put off to the commit would keep it from altering the table
    run_all("ALTER TABLE invoicing_payment ADD COLUMN drawer varchar(20) NOT NULL DEFAULT ''")
    request.getfixturevalue("drawer")
    assert [error.id for error in checks.formats(None)] == ["garage.E004"]
    assert "drawer" in checks.formats(None)[0].msg and "invoicing/formats.py" in str(checks.formats(None)[0].hint)
    assert list(ledger.breaks(Payment)) == []
    monkeypatch.setattr(Payment, "FORMATS", (*Payment.FORMATS, Payment.FORMATS[-1] + " drawer"))
    assert checks.formats(None) == []
    new = garage.pay(invoice, "11.00")
    assert [old.sealed_format, new.sealed_format] == [1, 2]
    assert list(ledger.breaks(Payment)) == []
    database.remove_guards(connection)
    run(f"UPDATE invoicing_payment SET drawer = 'left' WHERE id = {new.pk}")
    database.install(connection)
    assert list(ledger.breaks(Payment)) == [f"payment {new.pk}: its content is not what was sealed"]


def run_all(sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)


def test_a_column_may_be_renamed(garage: Garage, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was sealed as `how` is read from today's column `method`."""
    today = Payment.FORMATS[-1]
    monkeypatch.setattr(Payment, "FORMATS", (today.replace(" method ", " how=method "),))
    invoice = garage.issue(garage.done([part()]))
    old = garage.pay(invoice, "10.00")
    monkeypatch.setattr(Payment, "FORMATS", (Payment.FORMATS[0], today))
    new = garage.pay(invoice, "11.00")
    assert ledger.content_of(old)["how"] == ledger.content_of(new)["method"] == "card"
    assert list(ledger.breaks(Payment)) == []


def test_no_sealed_row_names_anybody_in_clear(book: Garage) -> None:
    customer = Invoice.objects.all()[0].customer
    save_customer(
        actor=book.actor, clock=at(book), customer=customer, fields={"name": "Odile Marrant-Holt"},
        phones=[("555-0199", "")], emails=[], designated=None,
    )  # fmt: skip
    sealed = str({table: rows for table, rows in dump().items() if table not in ("garage_siderow", "garage_counter")})
    people = (
        "Odile",
        "Marrant",
        "Tam",
        "555-01",
        "Quay Street",
        "odile@",
        "Ilse",
        "KET-1",
        "check 1044",
        "PO ",
        "Counter Test",
    )
    assert [word for word in people if word in sealed.replace("555-0100", "")] == []  # the garage's own number stays
    beside = str(dump()["garage_siderow"])
    assert [word for word in people if word not in beside] == ["Counter Test"]


def test_what_was_removed_is_put_back_from_beside_the_trail(book: Garage) -> None:
    entry = AuditEntry.objects.get(verb="removed line")
    assert "rows" not in entry.details and entry.told["rows"][0]["fields"]["description"] == "Rotor"
    assert Line.objects.get(description="Rotor").pk == entry.told["rows"][0]["pk"]


def test_everything_erasable_is_erased_and_the_book_still_holds(book: Garage) -> None:
    sides = list(SideRow.objects.all())
    with pytest.raises(Refused, match="kept for 7 years"):
        erase_side_rows(rows=sides, actor=book.actor, clock=fixed(book.now + dt.timedelta(days=6 * 366)))
    assert not SideRow.objects.exclude(erased_at=None).exists()
    book.now += dt.timedelta(days=8 * 366)
    assert erase_side_rows(rows=sides, actor=book.actor, clock=at(book)) == len(sides)
    assert erase_side_rows(rows=sides, actor=book.actor, clock=at(book)) == 0
    assert set(SideRow.objects.values_list("salt", flat=True)) == {""}
    assert {str(row) for row in SideRow.objects.all()} == {"erased"}
    assert (breaches(), faults()) == ([], [])
    assert AuditEntry.objects.get(verb="erased").details["erased"] == sorted(row.pk for row in sides)
    invoice = Invoice.objects.select_related("side", "person").order_by("pk")[0]
    assert (str(invoice.person), invoice.plate, invoice.notices, invoice.net) == ("erased", "", {}, D("251.86"))


@pytest.mark.parametrize(
    ("emptied", "sentence"),
    [
        ("data = '{}', salt = '', erased_at = written_at", "no entry says by whom"),
        ("salt = '', erased_at = written_at", "changed behind it"),
    ],
)
def test_a_side_row_emptied_behind_the_programs_back_is_found(book: Garage, emptied: str, sentence: str) -> None:
    side = Payment.objects.exclude(side=None)[0].side_id
    run(f"UPDATE garage_siderow SET {emptied} WHERE id = {side}")
    assert any(sentence in breach for breach in breaches()), breaches()


def test_a_clock_set_back_is_marked_and_no_breach(book: Garage) -> None:
    marked = {
        model.CHAIN: model._default_manager.filter(clock_behind=True).count() for model in ledger.chains().values()
    }
    assert marked == {
        "audit": 1,
        "clock": 0,
        "payments": 1,
        "allocations": 0,
        "stock": 0,
        "authorizations": 0,
        "invoices": 0,
    }
    book.now += dt.timedelta(minutes=1)
    invoice = Invoice.objects.order_by("pk")[0]
    assert not book.pay(invoice, "1.00").clock_behind  # behind the book, but after the row before it
    assert breaches() == []


@pytest.mark.usefixtures("unguarded")
@pytest.mark.parametrize(
    ("forged", "sentence"),
    [
        ({"clock_behind": False}, "no mark of a clock set back"),
        ({"at": dt.datetime(2026, 3, 2, 13, 0, tzinfo=dt.UTC)}, "is marked as written by a clock set back"),
    ],
)
def test_a_time_changed_behind_the_programs_back_is_found(
    book: Garage, forged: dict[str, object], sentence: str
) -> None:
    """Even where the forger seals the row anew and sets the counter's memory of it."""
    last = Payment.objects.get(clock_behind=True)
    Payment.objects.filter(pk=last.pk).update(**forged)
    last.refresh_from_db()
    sealed = ledger.digest(ledger.content_of(last))
    run(f"UPDATE invoicing_payment SET row_hash = '{sealed}' WHERE id = {last.pk}")
    run(f"UPDATE garage_counter SET last_hash = '{sealed}' WHERE series = 'chain:payments'")
    found = list(ledger.breaks(Payment))
    assert len(found) == 1 and sentence in found[0]


def test_whether_it_was_authorized_is_a_matter_of_sequence_not_of_time(garage: Garage) -> None:
    """The clock is set back between the customer's yes and the invoice: the yes came first all the same."""
    job = garage.done([part()])
    garage.now -= dt.timedelta(hours=2)
    invoice = garage.issue(job)
    given = Authorization.objects.get()
    assert given.recorded_at > invoice.issued_at and invoice.consent_seq == given.chain_seq
    assert breaches() == []


@pytest.mark.usefixtures("unguarded")
def test_a_yes_that_came_after_the_invoice_does_not_cover_it(garage: Garage) -> None:
    """Whatever time it bears: an invoice that was issued before any yes is named."""
    garage.issue(garage.done([part()]))
    run("UPDATE invoicing_invoice SET consent_seq = 0")
    assert any(
        "the authorization it was issued on is not there" in breach or "not authorized" in breach
        for breach in breaches()
    )


def test_a_movement_and_a_payment_read_their_words_from_beside(book: Garage) -> None:
    assert Movement.objects.filter(kind="waste").get().reason == "Tam spilled"
    assert {row.reference for row in Payment.objects.all()} == {
        "",
        "check 1043 of Tam Marrant",
        "check 1044 of Tam Marrant",
    }
    assert PaymentPart.objects.filter(allocation=None).count() == Payment.objects.count()
