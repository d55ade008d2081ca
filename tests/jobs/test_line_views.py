"""The form of a line: every kind, every unit, the amount while typing, two people at once, off the sheet and back."""

import datetime as dt
import uuid
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from garage.clock import fixed
from garage.models import AuditEntry
from jobs.actions.removing import remove_line
from jobs.actions.stages import move
from jobs.actions.writing_up import save_line
from jobs.models import Line, Operation, Stage
from parts.actions.items import supersede
from tests.decided import decide
from tests.jobs.bay_cast import stock_item
from tests.jobs.counter_cast import HTMX, LABOR, Counter, at_counter, page_of, transfer_fluid_change


@pytest.fixture
def counter(shop, people) -> Counter:
    return at_counter(people, timezone.now())


@pytest.fixture
def client(counter, login):
    return login("counter")


class TestLines:
    @pytest.fixture
    def operation(self, counter) -> Operation:
        return counter.operation()

    def add(self, client, operation, kind, headers=None, **data):
        url = reverse("jobs:line-add", args=[operation.pk])
        defaults = {"description": "Something", "unit_price": "10", "quantity": "1", "condition": "new"}
        classes = {"labor": "labor", "part": "parts", "fluid": "parts", "sublet": "sublet", "charge": "charge"}
        given = {**defaults, "tax_class": classes[kind], **data}
        return client.post(f"{url}?kind={kind}", given, headers=headers)

    @pytest.mark.parametrize("kind", ["labor", "part", "fluid", "sublet", "charge"])
    def test_a_line_of_every_kind(self, client, operation, kind):
        assert self.add(client, operation, kind, sublet_to="Vesper Radiators").status_code == 303
        line = Line.objects.get()
        assert (line.kind, line.unit_price) == (kind, Decimal(10))
        assert line.sublet_to == ("Vesper Radiators" if kind == "sublet" else "")

    def test_a_price_far_from_the_shelfs_is_asked_about_once(self, client, counter, operation):
        item = stock_item("Pad set", "P-1", "each", 3, "1", counter.actor, counter.now)
        given = {"item": str(item.pk), "unit_price": "612.00"}
        asked = self.add(client, operation, "part", **given).content.decode()
        assert f"{item}: the shelf’s price is $61.20 each, this line says $612.00." in asked
        assert 'value="612.00"' in asked
        assert not Line.objects.exists()
        answer = asked.partition('name="as_it_is" value="')[2].partition('"')[0]
        assert self.add(client, operation, "part", **given, as_it_is=answer).status_code == 303
        line = Line.objects.get()
        version = page_of(client, "jobs:line-edit", line.pk).partition('name="version" value="')[2].partition('"')[0]
        more = {**given, "description": "Pad set", "quantity": "2", "tax_class": "parts", "version": version}
        again = client.post(reverse("jobs:line-edit", args=[line.pk]), more)
        assert again.status_code == 303, "it was answered"

    @pytest.mark.parametrize(
        ("typed", "charged", "liters", "kept"),
        [
            ("1.7", "1.7 L", "1.7", "1.7 L"),
            ("1,7 l", "1.7 L", "1.7", "1,7 l"),
            ("850 ml", "0.85 L", "0.85", "850 ml"),
            ("3/4 qt", "0.75 qt", "0.70976471", "3/4 qt"),
            ("1/3 qt", "0.333 qt", "0.315450982", "1/3 qt"),
            ("1 gal", "1 gal", "3.785411784", "1 gal"),
        ],
    )
    def test_fluid_is_typed_in_any_unit_and_charged_in_it(self, client, operation, typed, charged, liters, kept):
        """Liters of a US quart and gallon: NIST Handbook 44, Appendix C; thirds and quarters of them by hand."""
        self.add(client, operation, "fluid", quantity=typed)
        line = Line.objects.get()
        assert f"{line.quantity.normalize():f} {line.unit}" == charged
        assert line.base_quantity == pytest.approx(Decimal(liters), abs=Decimal("1e-8"))
        assert line.typed == kept

    @pytest.mark.parametrize(
        ("price", "charged"),
        [("20.46", "20.46"), ("20.46 / qt", "20.46"), ("30.69 / L", "29.04")],  # 30.69 × 0.946352946 = 29.0436
    )
    def test_a_price_typed_per_quart_is_kept_and_one_per_liter_is_restated(self, client, operation, price, charged):
        self.add(client, operation, "fluid", quantity="1.9 qt", unit_price=price)
        assert str(Line.objects.get().unit_price) == f"{charged}0000"
        page = page_of(client, "jobs:line-edit", Line.objects.get().pk)
        assert f'value="{charged} / qt"' in page

    @pytest.mark.parametrize(
        ("price", "sentence"),
        [("30.695", "to the cent"), ("30.69 / kg", "per L, qt or gal"), ("30.69 / foo", "is not known")],
    )
    def test_a_price_that_cannot_be_printed_is_asked_about(self, client, operation, price, sentence):
        answer = self.add(client, operation, "fluid", quantity="1.9 qt", unit_price=price)
        assert answer.status_code == 422
        assert sentence in answer.content.decode()

    def test_labor_begins_at_the_shops_rate(self, client, operation):
        page = client.get(reverse("jobs:line-add", args=[operation.pk]), {"kind": "labor"}).content.decode()
        assert 'value="128.00"' in page
        assert 'value="Labor"' in page

    def test_an_item_is_found_by_its_old_number_and_brings_name_price_and_kind(self, client, counter, operation):
        old = stock_item("TF-30 fluid", "TF-30", "L", 1, "1", counter.actor, counter.now)
        new = stock_item("TF-31 fluid", "TF-31", "L", 1, "1", counter.actor, counter.now)
        supersede(old=old, new=new, on=counter.now.date(), note="", actor=counter.actor, clock=fixed(counter.now))
        url = reverse("jobs:line-add", args=[operation.pk])
        page = client.get(url, {"q": "tf30"}).content.decode()
        assert "TF-31 fluid" in page
        assert "formerly TF-30 fluid" in page
        assert "2.000 L · 2.113 qt on the shelf" in page
        form = client.get(url, {"item": old.pk}).context["form"]
        assert (form.kind, form["item"].value(), form["unit_price"].value()) == ("fluid", new.pk, "61.20 / L")
        data = {
            "item": new.pk,
            "description": "TF-31 fluid",
            "quantity": "0.5",
            "unit_price": "61.20",
            "tax_class": "parts",
        }
        client.post(f"{url}?item={new.pk}", data)
        assert Line.objects.get().item == new

    def test_the_amount_follows_the_typing_and_is_the_amount_that_is_kept(self, client, operation):
        said = client.get(
            reverse("jobs:line-amount"),
            {"kind": "fluid", "quantity": "1.7", "unit_price": "61.20"},
            headers={"HX-Request": "true"},
        )
        assert "104.04" in said.content.decode()
        half = {"kind": "part", "quantity": "3", "unit_price": "0.1115", "discount": "10"}
        assert (
            "0.30" in client.get(reverse("jobs:line-amount"), half, headers={"HX-Request": "true"}).content.decode()
        )  # 0.30105
        nonsense = client.get(
            reverse("jobs:line-amount"),
            {"kind": "part", "quantity": "1,500", "unit_price": "2"},
            headers={"HX-Request": "true"},
        )
        assert "comes to" not in nonsense.content.decode()

    @pytest.mark.parametrize(
        ("changes", "sentence"),
        [
            ({"quantity": "0"}, "Must be more than zero."),
            ({"quantity": "-1"}, "is not understood"),
            ({"quantity": "2 kg"}, "measures mass"),
            ({"quantity": "1,500"}, "can be read two ways"),
            ({"unit_price": "ten"}, "is not a number"),
            ({"discount": "120"}, "At most 100%."),
            ({"quantity": "999999", "unit_price": "999999"}, "more than a line can hold"),
        ],
    )
    def test_bad_input_gets_a_sentence_and_loses_nothing(self, client, operation, changes, sentence):
        answer = self.add(client, operation, "fluid", description="Kept words", **changes)
        page = answer.content.decode()
        assert answer.status_code == 422
        assert sentence in page
        assert 'value="Kept words"' in page
        assert not Line.objects.exists()

    def test_sent_twice_it_is_one_line(self, client, operation):
        key = str(uuid.uuid4())
        for _ in range(2):
            assert self.add(client, operation, "part", key=key).status_code == 303
        assert Line.objects.count() == 1

    def test_with_htmx_the_operation_comes_back_and_the_foot_is_told(self, client, operation):
        answer = self.add(client, operation, "part", headers=HTMX)
        assert f'id="op-{operation.pk}"' in answer.content.decode()
        assert "job-changed" in answer["HX-Trigger-After-Settle"]
        refused = self.add(client, operation, "part", headers=HTMX, quantity="")
        assert (refused.status_code, refused["HX-Retarget"]) == (422, f"#op-{operation.pk}-slot")

    def test_the_second_counter_is_told(self, client, counter, operation):
        line = counter.line(operation)
        url = reverse("jobs:line-edit", args=[line.pk])
        form = client.get(url).context["form"]
        data = {name: form[name].value() for name in form.fields if form[name].value() is not None}
        client.post(url, {**data, "unit_price": "80"})
        answer = client.post(url, {**data, "unit_price": "70"})
        assert answer.status_code == 422
        assert "Somebody else changed “Pad set, rear”" in answer.content.decode()
        assert Line.objects.get().unit_price == Decimal(80)

    def test_another_part_on_an_authorized_operation_is_asked_about_and_the_page_says_so(
        self, client, counter, operation
    ):
        line = counter.line(operation)
        decide(operation=operation, decision="authorized", actor=counter.actor, now=counter.now)
        move(counter.job, Stage.IN_BAY, actor=counter.actor, clock=fixed(counter.now))
        form = client.get(reverse("jobs:line-edit", args=[line.pk])).context["form"]
        data = {name: form[name].value() for name in form.fields if form[name].value() is not None}
        client.post(reverse("jobs:line-edit", args=[line.pk]), {**data, "condition": "used"})
        page = page_of(client, "jobs:sheet", counter.job.pk)
        assert "Not authorized" in page
        assert "Pad set, rear, used instead of Pad set, rear, new" in page

    def test_removed_in_place_and_put_back_by_the_message(self, client, counter, operation):
        line = counter.line(operation)
        answer = client.post(reverse("jobs:line-remove", args=[line.pk]), headers=HTMX)
        url = reverse("jobs:put-back", args=[AuditEntry.objects.get(verb="removed line").pk])
        assert f'action="{url}"' in answer.content.decode()
        assert client.post(url)["Location"].endswith(f"#op-{operation.pk}")
        assert Line.objects.get() == line

    def test_only_what_was_taken_off_a_sheet_is_put_back(self, client, counter, operation):
        other = AuditEntry.objects.exclude(verb__startswith="removed").first()
        assert other is not None
        assert client.post(reverse("jobs:put-back", args=[other.pk])).status_code == 404

    def test_an_undo_that_comes_too_late_says_so(self, client, counter, operation):
        entry = remove_line(
            line=counter.line(operation), actor=counter.actor, clock=fixed(counter.now - dt.timedelta(days=1))
        )
        answer = client.post(reverse("jobs:put-back", args=[entry.pk]), follow=True)
        assert "too long ago" in answer.content.decode()

    def test_an_unknown_kind_is_not_found(self, client, operation):
        assert client.get(reverse("jobs:line-add", args=[operation.pk]), {"kind": "gift"}).status_code == 404


def test_only_the_procedures_own_hours_are_said_to_come_from_it(counter: Counter, client) -> None:
    revision, _fluid, _washer = transfer_fluid_change(counter.actor, counter.now)
    operation = counter.operation(revision.procedure.title, revision=revision)
    counter.line(operation, LABOR, description="Seized bolt drilled out")

    def said() -> int:
        return page_of(client, "jobs:sheet", counter.job.pk).count("procedure revision 1")

    assert said() == 1
    hours = operation.lines.get(description="Labor")
    fields = {"quantity": hours.quantity + 1, "typed": ""}
    save_line(operation=operation, line=hours, fields=fields, actor=counter.actor, clock=fixed(counter.now))
    assert said() == 0
