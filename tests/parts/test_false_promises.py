"""What the shelf once promised and did not hold: bottles that hold more than their pack, prices of deliveries that
never came, half pieces, and slips of the decimal point that nobody was asked about."""

import datetime as dt
import re
import uuid
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from garage.clock import fixed
from garage.errors import Refused
from garage.models import User
from jobs.models import Line
from parts import queries
from parts.actions.items import save_item, supersede, take_back_supersession
from parts.actions.prices import save_markup, set_pack_price
from parts.actions.receiving import opening_stock, undo_receipt
from parts.actions.stock import adjust, count_item, draw, give_back, reverse, waste
from parts.models import Container, Item, Movement, Receipt, SupplierPrice
from parts.pricing import Band
from tests.invoicing.cast import Garage, charge, part
from tests.parts.test_shelf_pages import receive_data
from tests.parts.test_shelf_trade import held

D = Decimal
Login = Callable[[str], Client]
pytestmark = pytest.mark.django_db


@pytest.fixture
def who(owner: User, now: dt.datetime) -> dict[str, object]:
    return {"actor": owner, "clock": fixed(now)}


class TestABottleHoldsWhatFits:
    def test_what_a_job_brings_back_into_a_bottle_counted_full_stands_beside_it(self, fluid, deliver, out, who):
        deliver(fluid, "1 L bottle", 1, "36.00")
        rows = out(fluid, "0.5")
        bottle = Container.objects.get()
        adjust(key=uuid.uuid4(), container=bottle, content=D(1), **who)
        give_back(draws=rows, quantity=D("0.5"), reason="not used", **who)
        assert [(row.content, row.capacity, row.state) for row in Container.objects.order_by("pk")] == [
            (D(1), D(1), "open"),
            (D("0.5"), D(1), "open"),
        ]
        fluid.refresh_from_db()
        assert (fluid.on_hand, fluid.stock_value) == (D("1.5"), D(54))
        assert held() == []

    def test_undoing_a_waste_or_a_draw_that_no_longer_fits_says_what_to_do(self, fluid, deliver, out, who):
        deliver(fluid, "1 L bottle", 1, "36.00")
        bottle = Container.objects.get()
        waste(key=uuid.uuid4(), container=bottle, quantity=D("0.5"), reason="spilled", **who)
        adjust(key=uuid.uuid4(), container=Container.objects.get(), content=D(1), **who)
        with pytest.raises(Refused, match="no more than that fits"):
            reverse(movement=Movement.objects.get(kind="waste"), reason="it was not", **who)
        reverse(movement=Movement.objects.get(kind="count"), reason="nor this", **who)
        reverse(movement=Movement.objects.get(kind="waste"), reason="it was not", **who)
        assert Container.objects.get().content == D(1)
        assert held() == []

    def test_an_open_bottle_counted_in_still_holds_its_pack(self, fluid, who):
        from_start = {"pack": fluid.packs.get(label="1 L bottle"), "packs": 0, "unit_cost": D(36)}
        opening_stock(key=uuid.uuid4(), item=fluid, opened_content=D("0.4"), **from_start, **who)
        adjust(key=uuid.uuid4(), container=Container.objects.get(), content=D(1), **who)
        assert Container.objects.get().content == D(1)
        with pytest.raises(Refused, match="cannot hold"):
            adjust(key=uuid.uuid4(), container=Container.objects.get(), content=D("1.001"), **who)

    def test_the_database_takes_no_more_either_and_a_batch_has_no_limit(self, fluid, kit, deliver, who):
        deliver(fluid, "1 L bottle", 1, "36.00")
        with pytest.raises(IntegrityError), transaction.atomic():
            Container.objects.update(content=D("1.5"))
        deliver(kit, "", 2, "12.50")
        count_item(key=uuid.uuid4(), item=kit, quantity=D(9), **who)
        assert Container.objects.get(item=kit).content == D(9)

    def test_a_bottle_filled_behind_the_programs_back_is_found(self, fluid, deliver):
        deliver(fluid, "1 L bottle", 1, "36.00")
        Container.objects.update(capacity=None)
        assert any("how much fits" in breach for breach in held())


class TestReplacementsTakenBack:
    def test_what_was_drawn_while_it_held_was_drawn_rightly(self, shop, people, fluid, deliver, now, who):
        deliver(fluid, "1 L bottle", 2, "36.00")
        successor = save_item(fields={"kind": "fluid", "name": "TF-32", "base_unit": "L"}, **who)
        link = supersede(old=fluid, new=successor, on=now.date(), **who)
        successor.refresh_from_db()
        assert (successor.minimum, successor.wanted, successor.last_cost) == (D(2), D(5), D(36))
        garage = Garage(people, now)
        garage.rates(parts="0")
        job = garage.job([garage.poured(successor, "0.7")])
        garage.authorize(garage.estimate(job))
        garage.into_bay(job)
        garage.draw(Line.objects.get(), "0.7")
        take_back_supersession(supersession=link, **who)
        assert held() == []
        successor.refresh_from_db()
        assert (successor.minimum, successor.wanted, successor.last_cost) == (D(0), D(0), None)
        supersede(old=fluid, new=successor, on=now.date(), note="it was right after all", **who)
        assert held() == []

    def test_a_minimum_set_since_stays(self, fluid, owner, now, who):
        successor = save_item(fields={"kind": "fluid", "name": "TF-32", "base_unit": "L"}, **who)
        link = supersede(old=fluid, new=successor, on=now.date(), **who)
        save_item(item=successor, fields={"minimum": D(3)}, **who)
        take_back_supersession(supersession=link, **who)
        successor.refresh_from_db()
        assert (successor.minimum, successor.wanted) == (D(3), D(0))


class TestADeliveryUndone:
    def test_the_price_before_it_counts_again_and_the_history_stays(self, fluid, supplier, deliver, who):
        pack = fluid.packs.get(label="1 L bottle")
        set_pack_price(pack=pack, supplier=supplier, price=D(34), number="H-1", **who)
        receipt = deliver(fluid, "1 L bottle", 1, "40.00")
        assert SupplierPrice.objects.get(current=True).price == D(40)
        undo_receipt(key=uuid.uuid4(), receipt=receipt, reason="never came", **who)
        standing = SupplierPrice.objects.get(current=True)
        assert (standing.price, standing.number) == (D(34), "H-1")
        assert SupplierPrice.objects.count() == 2
        assert {row.label: row.known_price for row in queries.priced_packs([fluid])[fluid.pk]}["1 L bottle"] == D(34)
        fluid.refresh_from_db()
        assert fluid.last_cost is None

    def test_a_later_count_goes_up_at_what_stands_in_the_book(self, kit, deliver, who):
        deliver(kit, "", 5, "10.00")
        undo_receipt(key=uuid.uuid4(), receipt=deliver(kit, "", 5, "99.00"), reason="not ours", **who)
        count_item(key=uuid.uuid4(), item=kit, quantity=D(7), **who)
        kit.refresh_from_db()
        assert (kit.on_hand, kit.stock_value) == (D(7), D(70))
        assert held() == []

    def test_what_comes_back_is_not_put_into_what_never_came(self, fluid, deliver, out, who):
        receipt = deliver(fluid, "1 L bottle", 1, "36.00")
        rows = out(fluid, "0.4")
        adjust(key=uuid.uuid4(), container=Container.objects.get(), content=D(1), **who)
        undo_receipt(key=uuid.uuid4(), receipt=receipt, reason="a sample", **who)
        give_back(draws=rows, quantity=D("0.4"), reason="not used", **who)
        first, second = Container.objects.order_by("pk")
        assert (first.content, second.content) == (D(0), D("0.4"))
        with pytest.raises(Refused, match="Its delivery was undone"):
            adjust(key=uuid.uuid4(), container=first, content=D("0.5"), **who)
        assert held() == []


class TestAskedBack:
    def receive(self, login: Login, *lines: tuple, **more: str) -> str:
        answer = login("counter").post("/shelf/receive/", receive_data(*lines, **more))
        return answer.content.decode() if answer.status_code == 422 else ""

    def answered(self, login: Login, said: str, *lines: tuple, **more: str) -> int:
        button = re.search(r'name="as_it_is"[^>]*value="(\w+)"|value="(\w+)"[^>]*name="as_it_is"', said)
        assert button is not None
        data = receive_data(*lines, **{**more, "as_it_is": button[1] or button[2]})
        del data["press"]
        return login("counter").post("/shelf/receive/", data).status_code

    def test_ten_times_the_last_price_is_asked_about_and_taken_on_one_tap(self, fluid, deliver, supplier, login):
        deliver(fluid, "1 L bottle", 1, "7.50")
        line = (fluid, "1 L bottle", "6", "75.00")
        said = self.receive(login, line, supplier=str(supplier.pk), reference="D-2")
        assert "$7.50 a 1 L bottle last time, $75.00 now." in said and 'value="75.00"' in said
        assert Receipt.objects.count() == 1
        assert self.answered(login, said, line, supplier=str(supplier.pk), reference="D-2") == 303
        assert Receipt.objects.count() == 2

    @pytest.mark.parametrize(("price", "asked"), [("7.49", False), ("0.75", True), ("74.99", False), ("0", True)])
    def test_a_tenth_is_asked_about_too_and_less_is_not(self, fluid, deliver, login, price, asked):
        deliver(fluid, "1 L bottle", 1, "7.50")
        assert bool(self.receive(login, (fluid, "1 L bottle", "6", price))) is asked

    def test_a_suppliers_number_a_second_time_is_asked_about(self, fluid, deliver, supplier, login):
        receipt = deliver(fluid, "1 L bottle", 1, "36.00")
        again = {"supplier": str(supplier.pk), "reference": "d-1"}
        said = self.receive(login, (fluid, "1 L bottle", "1", "36.00"), **again)
        assert "was received on Mar 2, 2026 already" in said
        undo_receipt(key=uuid.uuid4(), receipt=receipt, reason="x", actor=None, clock=fixed(receipt.at))
        assert self.receive(login, (fluid, "1 L bottle", "1", "36.00"), **again) == ""

    def test_the_price_of_what_stands_there_is_shown_before_a_few_bottles_move_it(
        self, fluid, deliver, owner, now, login
    ):
        save_markup(bands=[Band(None, D("0.70"))], actor=owner, clock=fixed(now))
        deliver(fluid, "1 L bottle", 214, "36.00")
        said = self.receive(login, (fluid, "1 L bottle", "6", "45.00"))
        assert "from $61.20 per L ($57.92 per qt) to $76.50 per L ($72.40 per qt)" in said
        assert "214.000 L on the shelf" in said
        save_item(item=fluid, fields={"price": D(60)}, packs=_packs(fluid), actor=owner, clock=fixed(now))
        assert self.receive(login, (fluid, "1 L bottle", "6", "45.00")) == ""

    def test_a_count_a_decimal_point_away_is_asked_about(self, kit, fluid, deliver, login):
        deliver(kit, "box of 10", 2, "100.00")
        client, url = login("counter"), f"/shelf/items/{kit.pk}/count/"
        data = {"key": str(uuid.uuid4()), "quantity": "200", "reason": ""}
        assert "The book says 20 ea, 200 ea was counted." in client.post(url, data).content.decode()
        assert client.post(url, {**data, "quantity": "0"}).status_code == 303
        deliver(fluid, "1 L bottle", 1, "36.00")
        bottle = Container.objects.get(item=fluid)
        dipped = {"key": str(uuid.uuid4()), "kind": "count", "quantity": "0.1", "reason": ""}
        answer = client.post(f"/shelf/containers/{bottle.pk}/adjust/", dipped)
        assert "The book says 1.000 L, 0.100 L was counted." in answer.content.decode()


def _packs(item: Item) -> list[tuple]:
    return [(pack.label, pack.size, pack.typed, pack.barcode) for pack in item.packs.all()]


class TestPiecesAreWhole:
    def test_nobody_counts_one_and_a_half(self, kit, deliver, login, who):
        deliver(kit, "box of 10", 1, "100.00")
        url = f"/shelf/items/{kit.pk}/count/"
        said = login("counter").post(url, {"key": str(uuid.uuid4()), "quantity": "1.5"}).content.decode()
        assert "Pieces are counted whole" in said and 'value="1.5"' in said
        for act in (
            lambda: count_item(key=uuid.uuid4(), item=kit, quantity=D("1.5"), **who),
            lambda: draw(item=kit, quantity=D("0.5"), reason="", **who),
            lambda: save_item(item=kit, fields={"minimum": D("1.5")}, **who),
            lambda: save_item(item=kit, fields={}, packs=[("half", D("0.5"))], **who),
        ):
            with pytest.raises(Refused, match="whole"):
                act()
        assert held() == []

    def test_a_line_takes_whole_parts_and_half_a_charge(self, shop, people, now):
        garage = Garage(people, now)
        job = garage.job([charge("Disposal", "10.00", quantity=D("1.5"))])
        with pytest.raises(Refused, match="whole pieces"):
            garage.line(job.operations.get(), **part(quantity="1.5"))
