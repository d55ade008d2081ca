"""What the trade expects of the shelf. Figures are common practice, no source, worked by hand."""

import datetime as dt
import uuid
from decimal import Decimal

import pytest

from garage import promises, search
from garage.clock import fixed
from garage.errors import Refused
from parts import queries
from parts.actions.items import save_item, supersede, take_back_supersession
from parts.actions.prices import save_markup
from parts.actions.receiving import Delivered, opening_stock, receive, undo_receipt
from parts.actions.stock import Shortage, adjust, count_item, draw, give_back, reverse, waste
from parts.models import Container, Item, Movement, Receipt, SupplierPrice
from parts.pricing import Band

D = Decimal
pytestmark = pytest.mark.django_db


def held() -> list[str]:
    """Every breach of a promise; none is expected after any of these days."""
    return [breach for _name, breaches in promises.run() for breach in breaches]


def test_seven_tenths_of_a_forty_dollar_liter_cost_28_and_leave_three_tenths_open(fluid, deliver, out, login):
    deliver(fluid, "1 L bottle", 1, "40.00")
    (movement,) = out(fluid, "0.7")
    assert movement.value == D("-28.000000")
    bottle = Container.objects.get()
    assert (bottle.content, bottle.value, bottle.state) == (D("0.3"), D(12), "open")
    page = login("owner").get(f"/shelf/items/{fluid.pk}/").content.decode()
    assert "37.85" in page, "40.00 a liter is 37.85 a US quart"
    assert "0.300 L" in page
    assert "0.317 qt" in page


def test_a_price_learned_in_the_evening_is_of_the_shops_day_not_of_greenwich(shop, fluid, deliver):
    deliver(fluid, "1 L bottle", 1, "36.00", at=dt.datetime(2026, 3, 3, 1, 30, tzinfo=dt.UTC))  # 8:30 PM in New York
    assert SupplierPrice.objects.get().since == dt.date(2026, 3, 2)


def test_thirty_six_a_liter_is_34_07_a_quart_on_the_item_page(fluid, deliver, login):
    deliver(fluid, "1 L bottle", 1, "36.00")
    assert "34.07" in login("counter").get(f"/shelf/items/{fluid.pk}/").content.decode()


def test_four_changes_of_seven_tenths_use_two_point_eight_liters(fluid, deliver, out):
    deliver(fluid, "1 L bottle", 3, "40.00")
    drawn = [row for _ in range(4) for row in out(fluid, "0.7")]
    assert sum(row.quantity for row in drawn) == D("-2.8")
    assert sum(row.value for row in drawn) == D("-112")
    fluid.refresh_from_db()
    assert (fluid.on_hand, fluid.stock_value) == (D("0.2"), D(8))
    assert [c.content for c in Container.objects.order_by("pk")] == [D(0), D(0), D("0.2")]


def test_the_open_bottle_goes_first_also_when_an_older_one_is_sealed(fluid, deliver, owner, now):
    deliver(fluid, "1 L bottle", 2, "36.00")
    old, newer = Container.objects.order_by("pk")
    adjust(key=uuid.uuid4(), container=newer, content=D("0.4"), actor=owner, clock=fixed(now))
    rows = draw(item=fluid, quantity=D("0.5"), reason="", actor=owner, clock=fixed(now))
    assert [(row.container_id, row.quantity) for row in rows] == [(newer.pk, D("-0.4")), (old.pk, D("-0.1"))]


def test_a_shortage_names_what_is_there(fluid, deliver, out):
    deliver(fluid, "1 qt bottle", 1, "34.00")
    with pytest.raises(Shortage, match=r"Only 0\.946 L of Kestrel TF-31 transfer fluid is on the shelf; 1\.000 L"):
        out(fluid, "1")
    assert Movement.objects.count() == 1, "nothing was taken"


def test_a_renamed_fluid_is_found_by_its_old_name_and_the_old_stock_goes_first(fluid, deliver, owner, now, login):
    old = save_item(
        actor=owner,
        clock=fixed(now),
        fields={"kind": "fluid", "name": "TF-30 transfer fluid", "brand": "Kestrel", "base_unit": "L"},
        numbers=[("maker", "KS-30 04")],
        packs=[("1 L bottle", D(1), "1 L", "")],
    )
    deliver(fluid, "1 L bottle", 1, "36.00")
    deliver(old, "1 L bottle", 1, "34.50", now + dt.timedelta(hours=1))
    supersede(old=old, new=fluid, on=now.date(), actor=owner, clock=fixed(now))
    for typed in ("TF-30", "tf30", "ks3004", "KS 30-04", "3004"):
        (found,) = search.find(typed, kinds=["item"])
        assert (found.object_id, found.title) == (fluid.pk, "Kestrel TF-31 transfer fluid"), typed
        assert "formerly TF-30" in found.subtitle
        (item,) = queries.find_items(typed)
        assert item.there == 2
    assert queries.chain_on_hand(old) == queries.chain_on_hand(fluid) == 2
    rows = draw(item=fluid, quantity=D("1.5"), reason="", actor=owner, clock=fixed(now))
    assert [(row.item, row.quantity, row.value) for row in rows] == [
        (old, D("-1"), D("-34.5")),
        (fluid, D("-0.5"), D("-18")),
    ]
    page = login("technician").get(f"/shelf/items/{old.pk}/").content.decode()
    assert "Since Mar 2, 2026 it is" in page
    assert "0.500 L" in page, "what is left of it under its new name"
    assert "Kestrel TF-30 transfer fluid" in login("technician").get(f"/shelf/items/{fluid.pk}/").content.decode()
    assert held() == []


def test_a_changed_name_goes_on_being_found(fluid, owner, now):
    save_item(
        actor=owner, clock=fixed(now), item=fluid, fields={"name": "TF-32 transfer fluid"}, packs=[("1 L bottle", D(1))]
    )
    for typed in ("tf 31", "TF-32"):
        assert [found.object_id for found in search.find(typed, kinds=["item"])] == [fluid.pk]


@pytest.mark.parametrize(
    "typed", ["KS-31 07", "ks3107", "KS 31-07", "3107", "4006381333931", "333931", "kx 75w", "kest"]
)
def test_any_number_with_or_without_separators_finds_it(fluid, typed):
    assert [item.pk for item in queries.find_items(typed)] == [fluid.pk]


def test_replacements_in_a_circle_are_refused_and_a_mistake_is_taken_back(fluid, owner, now):
    def named(name: str) -> Item:
        return save_item(actor=owner, clock=fixed(now), fields={"kind": "fluid", "name": name, "base_unit": "L"})

    first, second = named("TF-29"), named("TF-30")
    on = now.date()
    supersede(old=first, new=second, on=on, actor=owner, clock=fixed(now))
    supersede(old=second, new=fluid, on=on, actor=owner, clock=fixed(now))
    first.refresh_from_db()
    assert first.current == fluid, "the chain is followed to its end"
    with pytest.raises(Refused, match="circle"):
        supersede(old=fluid, new=first, on=on, actor=owner, clock=fixed(now))
    with pytest.raises(Refused, match="replaced already"):
        supersede(old=second, new=first, on=on, actor=owner, clock=fixed(now))
    take_back_supersession(supersession=second.replaced_by.get(), actor=owner, clock=fixed(now))
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.current, second.current) == (second, None)
    assert [found.title for found in search.find("TF-29", kinds=["item"])] == ["TF-30"]
    assert held() == []


def test_a_part_does_not_replace_a_fluid(fluid, kit, owner, now):
    with pytest.raises(Refused, match="counted in"):
        supersede(old=fluid, new=kit, on=now.date(), actor=owner, clock=fixed(now))


def test_a_box_of_ten_is_one_batch_at_a_tenth_of_its_price(kit, deliver, out):
    deliver(kit, "box of 10", 2, "112.00")
    batch = Container.objects.get()
    assert (batch.content, batch.unit_cost, batch.state) == (D(20), D("11.2"), "")
    (row,) = out(kit, "3")
    assert row.value == D("-33.6")
    assert Container.objects.get().opened_at is None


def test_a_quart_bottle_gives_up_exactly_what_it_cost(fluid, deliver, out):
    deliver(fluid, "1 qt bottle", 1, "34.07")
    parts = [*out(fluid, "0.5"), *out(fluid, "0.446352946")]
    assert sum(row.value for row in parts) == D("-34.07"), "the draw that empties it takes what is left"


def test_what_was_not_used_goes_back_where_it_came_from(fluid, deliver, owner, now, out):
    deliver(fluid, "1 L bottle", 2, "36.00")
    rows = out(fluid, "1.4")
    back = give_back(draws=rows, quantity=D("0.5"), reason="not used", actor=owner, clock=fixed(now))
    assert [(row.container_id, row.quantity, row.value) for row in back] == [
        (rows[1].container_id, D("0.4"), D("14.4")),
        (rows[0].container_id, D("0.1"), D("3.6")),
    ]
    with pytest.raises(Refused, match="More comes back"):
        give_back(draws=rows, quantity=D("1"), reason="", actor=owner, clock=fixed(now))
    with pytest.raises(Refused, match="returned to the shelf"):
        reverse(movement=rows[0], reason="", actor=owner, clock=fixed(now))
    assert queries.drawn_net(rows[0]) == (D("0.9"), D("32.4"))
    assert held() == []


def test_undoing_a_draw_seals_the_bottle_again_and_happens_once(fluid, deliver, owner, now, out):
    deliver(fluid, "1 L bottle", 1, "36.00")
    (row,) = out(fluid, "0.7")
    reverse(movement=row, reason="wrong job", actor=owner, clock=fixed(now))
    bottle = Container.objects.get()
    assert (bottle.content, bottle.value, bottle.state) == (D(1), D(36), "sealed")
    with pytest.raises(Refused, match="undone already"):
        reverse(movement=row, reason="", actor=owner, clock=fixed(now))


def test_a_delivery_is_undone_only_while_nothing_of_it_is_used(fluid, deliver, owner, now, out):
    first, second = deliver(fluid, "1 L bottle", 2, "36.00"), deliver(fluid, "1 L bottle", 1, "40.00")
    out(fluid, "0.1")
    with pytest.raises(Refused, match=r"of 1\.000 L only 0\.900 L is left"):
        undo_receipt(key=uuid.uuid4(), receipt=first, reason="wrong", actor=owner, clock=fixed(now))
    undo_receipt(key=uuid.uuid4(), receipt=second, reason="wrong", actor=owner, clock=fixed(now))
    fluid.refresh_from_db()
    assert (fluid.on_hand, fluid.stock_value, fluid.last_cost) == (D("1.9"), D("68.4"), D(36))
    assert held() == []


def test_a_delivery_sent_twice_is_one(fluid, owner, now):
    key = uuid.uuid4()
    line = Delivered(fluid.packs.get(label="1 L bottle"), fluid, 2, D("36.00"))
    first, second = (
        receive(key=key, supplier=None, reference="D-7", lines=[line], actor=owner, clock=fixed(now)) for _ in range(2)
    )
    assert first == second
    assert Receipt.objects.count() == 1
    assert Container.objects.count() == 2


def test_a_dipped_bottle_is_set_and_cannot_hold_more_than_its_size(fluid, deliver, owner, now):
    deliver(fluid, "1 L bottle", 1, "36.00")
    bottle, who = Container.objects.get(), {"actor": owner, "clock": fixed(now)}
    adjust(key=uuid.uuid4(), container=bottle, content=D("0.34"), **who)
    bottle.refresh_from_db()
    assert (bottle.content, bottle.state) == (D("0.34"), "open")
    for content, reason, kind, sentence in [
        (D("1.2"), "", "count", "cannot hold 1.200 L"),
        (D("-0.1"), "", "count", "less than nothing"),
        (D("0.2"), "", "adjustment", "Write why"),
        (D("0.5"), "spilled", "waste", "cannot leave more"),
    ]:
        with pytest.raises(Refused, match=sentence):
            adjust(key=uuid.uuid4(), container=bottle, content=content, reason=reason, kind=kind, **who)
    waste(key=uuid.uuid4(), container=bottle, quantity=D("0.04"), reason="spilled", **who)
    bottle.refresh_from_db()
    assert bottle.content == D("0.3")
    with pytest.raises(Refused, match=r"holds only 0\.300 L"):
        waste(key=uuid.uuid4(), container=bottle, quantity=D("0.4"), reason="spilled", **who)


def test_a_count_that_finds_what_the_book_says_moves_nothing(fluid, deliver, owner, now):
    deliver(fluid, "1 L bottle", 1, "36.00")
    adjust(key=uuid.uuid4(), container=Container.objects.get(), content=D(1), actor=owner, clock=fixed(now))
    assert Movement.objects.count() == 1
    assert Container.objects.get().state == "sealed"


def test_counted_parts_leave_the_oldest_batch_or_join_the_newest(kit, deliver, owner, now):
    deliver(kit, "box of 10", 1, "100.00")
    deliver(kit, "box of 10", 1, "120.00", now + dt.timedelta(days=1))
    for there, contents, value in [(D(8), [D(0), D(8)], D(96)), (D(11), [D(0), D(11)], D(132))]:
        count_item(key=uuid.uuid4(), item=kit, quantity=there, actor=owner, clock=fixed(now))
        assert [batch.content for batch in Container.objects.order_by("pk")] == contents
        kit.refresh_from_db()
        assert (kit.on_hand, kit.stock_value) == (there, value)
    assert held() == []


def test_the_book_opens_with_full_bottles_and_an_open_one(fluid, owner, now):
    opening_stock(
        key=uuid.uuid4(),
        item=fluid,
        pack=fluid.packs.get(label="1 L bottle"),
        packs=2,
        unit_cost=D("33.00"),
        opened_content=D("0.25"),
        actor=owner,
        clock=fixed(now),
    )
    fluid.refresh_from_db()
    assert (fluid.on_hand, fluid.stock_value, fluid.last_cost) == (D("2.25"), D("74.25"), D(33))
    assert [c.state for c in queries.to_draw(fluid)] == ["open", "sealed", "sealed"]
    assert held() == []


def test_a_low_item_says_why_and_what_to_buy(fluid, deliver, out):
    deliver(fluid, "1 L bottle", 3, "36.00")
    assert [item.pk for item in queries.items_low()] == []
    out(fluid, "2.66")
    (row,) = queries.to_buy(queries.items_low())
    expected = "on hand 0.340 L, minimum 2.000 L, fill up to 5.000 L: 5 × 1 L bottle"
    assert (row.suggestion.sentence, row.suggestion.cost) == (expected, D(180))


def test_the_price_is_the_items_own_or_its_cost_with_the_markup_of_its_band(fluid, deliver, owner, now):
    assert queries.price_of(fluid) is None
    deliver(fluid, "1 L bottle", 1, "36.00")
    fluid.refresh_from_db()
    assert queries.price_of(fluid) is None, "no markup is set up yet"
    save_markup(bands=[Band(D(10), D("0.6")), Band(None, D("0.7"))], actor=owner, clock=fixed(now))
    assert queries.price_of(fluid) == D("61.20")
    fluid.price = D("59.90")
    assert queries.price_of(fluid) == D("59.90")


def test_a_markup_table_without_an_open_band_is_refused(owner, now):
    with pytest.raises(Refused, match="last band"):
        save_markup(bands=[Band(D(10), D("0.6"))], actor=owner, clock=fixed(now))


def test_a_pack_that_was_bought_is_retired_and_another_is_removed(fluid, deliver, owner, now):
    deliver(fluid, "1 L bottle", 1, "36.00")
    save_item(actor=owner, clock=fixed(now), item=fluid, fields={}, packs=[("5 L jug", D(5), "5 L", "")])
    assert [(pack.label, pack.active) for pack in fluid.packs.all()] == [("1 L bottle", False), ("5 L jug", True)]


@pytest.mark.parametrize(
    ("fields", "packs", "sentence"),
    [
        ({"name": "  "}, [], "name"),
        ({"base_unit": "each"}, [], "counted in liters"),
        ({"minimum": D(6), "wanted": D(5)}, [], "under the minimum"),
        ({}, [("jug", D(5)), ("jug", D(4))], "there twice"),
        ({}, [("jug", D(0))], "above zero"),
    ],
)
def test_an_item_that_cannot_be_is_refused_in_a_sentence(fluid, owner, now, fields, packs, sentence):
    with pytest.raises(Refused, match=sentence):
        save_item(actor=owner, clock=fixed(now), item=fluid, fields=fields, packs=packs)


def test_an_edit_made_on_an_old_page_is_not_saved_over_a_newer_one(fluid, owner, now):
    save_item(actor=owner, clock=fixed(now), item=fluid, fields={"location": "C3"}, version=fluid.version)
    with pytest.raises(Refused, match="changed"):
        save_item(actor=owner, clock=fixed(now), item=fluid, fields={"location": "D4"}, version=fluid.version)


def test_a_book_changed_behind_the_programs_back_is_found(fluid, deliver, out):
    deliver(fluid, "1 L bottle", 1, "36.00")
    out(fluid, "0.25")
    assert held() == []
    Container.objects.update(content=D("0.5"))
    Item.objects.filter(pk=fluid.pk).update(stock_value=D("9"))
    found = held()
    assert any("Container" in breach and "0.750000000" in breach for breach in found)
    assert any("Item" in breach and "27.000000" in breach for breach in found)
