"""The shelf's pages: who may enter, what they show, what they refuse, how often they ask the database."""

import datetime as dt
import re
import uuid
from decimal import Decimal

import pytest
from django.test import Client

from garage.clock import fixed
from garage.models import User
from parts.actions.items import save_item, supersede
from parts.actions.prices import save_markup
from parts.actions.stock import draw
from parts.models import Container, Item, MarkupBand, Movement, Receipt, Supplier, SupplierPrice
from parts.pricing import Band
from tests.budget import assert_budget

D = Decimal
pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


@pytest.fixture
def stocked(fluid, kit, deliver, out, owner, now) -> Item:
    """The fluid with an open and two sealed bottles and some history, the kit in a box; markup set up."""
    save_markup(bands=[Band(None, D("0.7"))], actor=owner, clock=fixed(now))
    deliver(fluid, "1 L bottle", 3, "36.00")
    deliver(kit, "box of 10", 1, "112.00")
    out(fluid, "0.66")
    fluid.refresh_from_db()
    return fluid


def pages(item: Item, kit: Item) -> dict[str, str]:
    """Every page of the shelf by what it is, and the act it needs."""
    bottle, movement = Container.objects.filter(item=item).order_by("pk")[0], Movement.objects.order_by("pk")[0]
    receipt, supplier = Receipt.objects.order_by("pk")[0], Supplier.objects.get()
    return {
        "/shelf/": "shelf",
        "/shelf/?q=ks31": "shelf",
        "/shelf/low/": "shelf",
        "/shelf/movements/?q=tf31&kind=draw": "shelf",
        f"/shelf/items/{item.pk}/": "shelf",
        f"/shelf/items/{kit.pk}/": "shelf",
        f"/shelf/items/{item.pk}/containers/": "shelf",
        f"/shelf/containers/{bottle.pk}/": "shelf",
        "/shelf/both/?text=2&unit=L": "shelf",
        "/shelf/items/new/": "stock",
        f"/shelf/items/new/?replaces={item.pk}": "stock",
        f"/shelf/items/{item.pk}/edit/": "stock",
        f"/shelf/items/{item.pk}/replaced/?q=plug": "stock",
        f"/shelf/items/{kit.pk}/count/": "stock",
        f"/shelf/items/{item.pk}/opening/": "stock",
        f"/shelf/items/{item.pk}/prices/new/": "stock",
        f"/shelf/movements/{movement.pk}/undo/": "stock",
        f"/shelf/receive/?what=tf31&pack={kit.pk}--3": "stock",
        "/shelf/deliveries/": "stock",
        f"/shelf/deliveries/{receipt.pk}/": "stock",
        f"/shelf/deliveries/{receipt.pk}/undo/": "stock",
        "/shelf/suppliers/": "stock",
        "/shelf/suppliers/new/": "stock",
        f"/shelf/suppliers/{supplier.pk}/": "stock",
        "/shelf/markup/": "stock",
    }


def test_each_page_opens_to_its_roles_and_to_no_other(stocked, kit, login):
    may = {"shelf": {"owner", "counter", "technician"}, "stock": {"owner", "counter"}}
    clients = {role: login(role) for role in ("owner", "counter", "technician", "reader")}
    for url, act in pages(stocked, kit).items():
        for role, client in clients.items():
            expected = 200 if role in may[act] else 403
            headers = HTMX if "/both/" in url else {}  # a piece: asked for as a page it leads to the shelf
            assert client.get(url, headers=headers).status_code == expected, f"{role} {url}"
        assert Client().get(url).status_code == 302, f"nobody {url}"


def test_the_empty_shelf_says_what_will_stand_there(login):
    client = login("owner")
    assert "The shelf is empty" in client.get("/shelf/").content.decode()
    assert "Nothing runs low" in client.get("/shelf/low/").content.decode()
    assert "Nothing found" in client.get("/shelf/?q=nowhere").content.decode()
    for url in ("movements", "deliveries", "suppliers", "receive", "markup"):
        assert client.get(f"/shelf/{url}/").status_code == 200


def test_a_technician_sees_no_cost_and_no_price(stocked, kit, login):
    """Every figure of money that an owner reads on these pages is missing from a technician's."""
    owner, technician = login("owner"), login("technician")
    amounts = re.compile(r"\b\d+\.\d\d\b(?!\d)")
    seen = set()
    for url, act in pages(stocked, kit).items():
        if act != "shelf":
            continue
        seen |= set(amounts.findall(owner.get(url).content.decode()))
        assert amounts.findall(technician.get(url).content.decode()) == [], url
    assert {"36.00", "34.07", "61.20", "57.92", "112.00"} <= seen


def test_the_list_shows_on_hand_and_open_in_both_units(stocked, login):
    page = login("technician").get("/shelf/").content.decode()
    for figure in ("2.340 L", "2.473 qt", "0.340 L", "0.359 qt", "2.000 L", "2.113 qt", "B2"):
        assert figure in page, figure


def test_typing_in_the_filter_answers_rows_only(stocked, login):
    answer = login("counter").get("/shelf/?q=KS%203107", headers=HTMX).content.decode()
    assert "TF-31" in answer
    assert "<html" not in answer
    assert "Plug kit" not in answer


def test_the_low_page_says_what_to_buy_and_leads_to_the_delivery(stocked, out, login, kit):
    out(stocked, "2")
    page = login("owner").get("/shelf/low/").content.decode()
    assert "on hand 0.340 L, minimum 2.000 L, fill up to 5.000 L" in page
    assert "5 × 1 L bottle" in page
    assert "180.00" in page
    (link,) = re.findall(r'href="(/shelf/receive/\?pack=[^"]+)"', page)
    sheet = login("owner").get(link).content.decode()
    assert 'value="5"' in sheet
    assert "180.00" in sheet


def receive_data(*lines: tuple[Item, str, str, str], press: str = "receive", **head: str) -> dict[str, str]:
    """What the sheet of a delivery sends; each line is item, pack label ("" for single), packs, price."""
    data = {"key": str(uuid.uuid4()), "press": press, "supplier": "", "reference": "", "what": "", **head}
    data |= {"lines-TOTAL_FORMS": str(len(lines)), "lines-INITIAL_FORMS": "0"}
    for index, (item, label, packs, price) in enumerate(lines):
        pack = str(item.packs.get(label=label).pk) if label else ""
        data |= {f"lines-{index}-item": str(item.pk), f"lines-{index}-pack": pack}
        data |= {f"lines-{index}-packs": packs, f"lines-{index}-price": price}
    return data


def test_figures_that_multiply_beyond_what_can_be_stored_are_said_and_kept(kit, login):
    answer = login("counter").post("/shelf/receive/", receive_data((kit, "", "10000", "999999999")))
    assert answer.status_code == 422
    assert "too large to store" in answer.content.decode()
    assert not Receipt.objects.exists()


def test_a_delivery_of_several_lines_makes_containers_and_prices(fluid, kit, supplier, login):
    data = receive_data(
        (fluid, "1 L bottle", "3", "36,00"),
        (fluid, "1 qt bottle", "2", "33.90"),
        (kit, "box of 10", "1", "112"),
        (kit, "", "2", "12.50"),
        supplier=str(supplier.pk),
        reference="HL-1",
    )
    client = login("counter")
    answer = client.post("/shelf/receive/", data)
    assert answer.status_code == 303
    fluid.refresh_from_db()
    kit.refresh_from_db()
    assert (fluid.on_hand, fluid.stock_value) == (D("4.892705892"), D("175.8"))
    assert (kit.on_hand, kit.stock_value) == (D(12), D(137))
    assert Container.objects.filter(item=fluid).count() == 5
    assert {price.price for price in SupplierPrice.objects.all()} == {D(36), D("33.9"), D(112)}
    assert client.post("/shelf/receive/", data).status_code == 303, "nobody is asked about their own second tap"
    assert Receipt.objects.count() == 1, "pressed twice is one delivery"


def test_the_sheet_comes_back_with_all_that_was_typed(fluid, kit, login):
    client = login("owner")
    found = client.post("/shelf/receive/", receive_data(press="find", what="ks31", reference="HL-2")).content.decode()
    code = f"{fluid.pk}-{fluid.packs.get(label='1 L bottle').pk}"
    assert f'value="add {code}"' in found
    two = receive_data((kit, "", "7", "oops"), press=f"add {code}", reference="HL-2")
    added = client.post("/shelf/receive/", two).content.decode()
    assert added.count('name="lines-0-packs"') == added.count('name="lines-1-packs"') == 1
    assert 'value="oops"' in added
    assert "HL-2" in added
    removed = client.post("/shelf/receive/", {**two, "press": "remove 0"}).content.decode()
    assert "lines-0-packs" not in removed
    refused = client.post("/shelf/receive/", {**two, "press": "receive"})
    assert refused.status_code == 422
    assert "is not a number" in refused.content.decode()
    assert Receipt.objects.count() == 0


@pytest.mark.parametrize(("packs", "price"), [("0", "36.00"), ("-1", "36.00"), ("1", "-5"), ("", "36"), ("1", "")])
def test_a_line_that_cannot_be_is_refused_beside_its_field(fluid, login, packs, price):
    answer = login("owner").post("/shelf/receive/", receive_data((fluid, "1 L bottle", packs, price)))
    assert answer.status_code == 422
    assert 'aria-invalid="true"' in answer.content.decode()


def test_an_empty_sheet_is_not_a_delivery(login, fluid):
    answer = login("owner").post("/shelf/receive/", receive_data())
    assert answer.status_code == 422
    assert "Nothing is written on the sheet yet" in answer.content.decode()


def test_a_barcode_finds_its_pack_alone(fluid, login):
    page = login("owner").get("/shelf/receive/?what=4006381333931").content.decode()
    assert page.count('value="add ') == 1


def test_what_is_left_is_typed_in_any_unit_and_can_be_undone(stocked, login):
    client, bottle = login("counter"), Container.objects.get(opened_at__isnull=False)
    data = {"key": str(uuid.uuid4()), "kind": "count", "quantity": "1/4 qt", "reason": ""}
    page = client.post(f"/shelf/containers/{bottle.pk}/adjust/", data, follow=True).content.decode()
    bottle.refresh_from_db()
    assert bottle.content == D("0.236588237"), "half-up at nine places"
    assert "typed 1/4 qt" in page and re.search(r"counted −\d\.\d{3} L of", page), "with a true minus"
    (undo,) = re.findall(r'<div class="message">.*?action="([^"]+)"', page, re.S)
    client.post(undo, {"key": str(uuid.uuid4())})
    bottle.refresh_from_db()
    assert bottle.content == D("0.34")


def test_a_container_form_keeps_what_was_typed_when_it_is_refused(stocked, login):
    bottle = Container.objects.get(opened_at__isnull=False)
    data = {"key": str(uuid.uuid4()), "kind": "count", "quantity": "3 L", "reason": "dipped"}
    answer = login("owner").post(f"/shelf/containers/{bottle.pk}/adjust/", data)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "cannot hold 3.000 L" in page
    assert 'value="3 L"' in page
    assert 'value="dipped"' in page
    assert data["key"] in page


def test_what_a_job_drew_is_not_undone_on_the_shelf(stocked, login):
    row = Movement.objects.get(kind="draw")
    answer = login("owner").post(f"/shelf/movements/{row.pk}/undo/", {"key": str(uuid.uuid4()), "reason": "no"})
    assert "undone on that job" in answer.content.decode()
    assert not Movement.objects.filter(reverses=row).exists()


def item_data(**changed: str) -> dict[str, str]:
    """What the sheet of an item sends."""
    data = {"name": "BF-4 brake fluid", "brand": "Corrie", "sort": "fluid L", "location": "B1", "minimum": "500 ml"}
    data |= {"wanted": "2 qt", "price": "", "tax_class": "parts", "core_deposit": "", "open_days": "365"}
    data |= {"hazard": "Attacks paint.", "specifications": "DOT 4\nDOT 3", "notes": "", "active": "on", "version": ""}
    data |= {"numbers-TOTAL_FORMS": "1", "numbers-INITIAL_FORMS": "0", "numbers-0-kind": "maker"}
    data |= {"numbers-0-number": "CO-BF 4", "packs-TOTAL_FORMS": "2", "packs-INITIAL_FORMS": "0"}
    data |= {"packs-0-label": "half liter", "packs-0-size": "500 ml", "packs-0-barcode": "", "packs-0-pk": ""}
    data |= {"packs-1-label": "", "packs-1-size": "", "packs-1-barcode": "", "packs-1-pk": ""}
    return data | changed


def test_an_item_is_written_down_with_quantities_in_any_unit(login, db):
    answer = login("counter").post("/shelf/items/new/", item_data())
    item = Item.objects.get()
    assert answer.url == f"/shelf/items/{item.pk}/"
    assert (item.minimum, item.wanted, item.base_unit) == (D("0.5"), D("1.892705892"), "L")
    assert [(pack.label, pack.size, pack.typed) for pack in item.packs.all()] == [("half liter", D("0.5"), "500 ml")]
    assert [row.text for row in item.specifications.all()] == ["DOT 4", "DOT 3"]


def test_changing_an_item_keeps_its_rows_and_renames_a_pack(login, db):
    client = login("owner")
    client.post("/shelf/items/new/", item_data())
    item = Item.objects.get()
    pack = item.packs.get()
    data = item_data(version="1", name="BF-5 brake fluid", **{"packs-0-label": "0.5 L", "packs-0-pk": str(pack.pk)})
    assert client.post(f"/shelf/items/{item.pk}/edit/", data).status_code == 303
    assert [(row.pk, row.label) for row in item.packs.all()] == [(pack.pk, "0.5 L")]
    assert [row.number for row in item.numbers.all()] == ["CO-BF 4", "Corrie BF-4 brake fluid"]
    late = client.post(f"/shelf/items/{item.pk}/edit/", data)
    assert late.status_code == 422
    assert "Somebody else changed" in late.content.decode()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"name": ""}, "Write the item’s name."),
        ({"minimum": "1,500"}, "can be read two ways"),
        ({"minimum": "2 lb"}, "measures"),
        ({"wanted": "0.1"}, "must not be under the minimum"),
        ({"packs-0-size": "zero"}, "is not understood"),
        ({"numbers-0-number": "–"}, "no letter and no digit"),
        ({"price": "-1"}, "Not less than 0"),
    ],
)
def test_an_item_that_is_refused_keeps_what_was_typed(login, db, changed, sentence):
    answer = login("owner").post("/shelf/items/new/", item_data(**changed))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in page
    assert "half liter" in page
    assert Item.objects.count() == 0


def test_a_row_is_added_without_judging_what_is_typed(login, db):
    answer = login("owner").post("/shelf/items/new/", item_data(name="", rows="add packs"))
    page = answer.content.decode()
    assert answer.status_code == 200
    assert 'name="packs-2-label"' in page
    assert "is required" not in page


def test_a_new_item_that_replaces_another_takes_over_what_is_the_same(fluid, login):
    client = login("owner")
    page = client.get(f"/shelf/items/new/?replaces={fluid.pk}").content.decode()
    assert "It replaces Kestrel TF-31" in page
    data = item_data(name="TF-32", minimum="", wanted="")
    assert client.post(f"/shelf/items/new/?replaces={fluid.pk}", data).status_code == 303
    new = Item.objects.get(name="TF-32")
    fluid.refresh_from_db()
    assert (fluid.current, new.minimum, new.wanted) == (new, D(2), D(5))


def test_an_item_is_replaced_and_that_is_taken_back(fluid, login, owner, now):
    client = login("counter")
    new = save_item(actor=owner, clock=fixed(now), fields={"kind": "fluid", "name": "TF-33", "base_unit": "L"})
    assert "TF-33" in client.get(f"/shelf/items/{fluid.pk}/replaced/?q=tf33").content.decode()
    assert client.post(f"/shelf/items/{fluid.pk}/replaced/", {"on": "2026-03-02", "note": ""}).status_code == 422
    client.post(f"/shelf/items/{fluid.pk}/replaced/", {"new": new.pk, "on": "2026-03-02", "note": "new label"})
    fluid.refresh_from_db()
    assert fluid.current == new
    client.post(f"/shelf/items/{fluid.pk}/replaced/undo/")
    fluid.refresh_from_db()
    assert fluid.current is None


def test_opening_stock_count_price_markup_and_supplier_by_their_pages(fluid, kit, login, supplier):
    client = login("owner")
    pack = fluid.packs.get(label="1 L bottle")
    opened = {"key": str(uuid.uuid4()), "pack": pack.pk, "packs": "2", "opened_content": "8 fl oz", "unit_cost": "33"}
    assert client.post(f"/shelf/items/{fluid.pk}/opening/", opened).status_code == 303
    fluid.refresh_from_db()
    assert fluid.on_hand == D("2.236588237")
    single = {"key": str(uuid.uuid4()), "pack": "", "packs": "4", "unit_cost": "11.20"}
    assert client.post(f"/shelf/items/{kit.pk}/opening/", single).status_code == 303
    assert client.post(f"/shelf/items/{kit.pk}/count/", {"key": uuid.uuid4(), "quantity": "3"}).status_code == 303
    kit.refresh_from_db()
    assert kit.on_hand == 3
    asked = {"pack": pack.pk, "supplier": supplier.pk, "price": "35.10", "number": "H-77"}
    assert client.post(f"/shelf/items/{fluid.pk}/prices/new/", asked).status_code == 303
    bands = {"bands-TOTAL_FORMS": "2", "bands-INITIAL_FORMS": "0", "bands-0-up_to": "", "bands-0-percent": "40"}
    bands |= {"bands-1-up_to": "10", "bands-1-percent": "62.5"}
    assert client.post("/shelf/markup/", bands).status_code == 303
    assert [(band.up_to, band.markup) for band in MarkupBand.objects.all()] == [(D(10), D("0.625")), (None, D("0.4"))]
    assert client.post("/shelf/markup/", {**bands, "bands-0-up_to": "5"}).status_code == 422
    assert client.post("/shelf/suppliers/new/", {"name": supplier.name}).status_code == 422
    assert client.post("/shelf/suppliers/new/", {"name": "Kettlewell Parts"}).status_code == 303


def test_a_bottle_open_longer_than_it_keeps_says_so(fluid, deliver, owner, now, login):
    fluid.open_days = 30
    fluid.save()
    deliver(fluid, "1 L bottle", 1, "36.00")
    draw(item=fluid, quantity=D("0.1"), reason="", actor=owner, clock=fixed(now - dt.timedelta(days=400)))
    assert "open longer than it keeps" in login("technician").get(f"/shelf/items/{fluid.pk}/").content.decode()


class TestBudgets:
    """A page asks the database a fixed number of times, however much stands on the shelf."""

    @pytest.fixture
    def more(self, owner: User, now: dt.datetime, deliver, supplier, stocked):
        """Adds a low item with a former name, priced packs, an open bottle, a delivery and a supplier."""
        made: list[Item] = []

        def grow() -> None:
            number = len(made)
            names = [f"Coolant {number}", f"Old coolant {number}"]
            new, old = (
                save_item(
                    actor=owner,
                    clock=fixed(now),
                    fields={"kind": "fluid", "name": name, "base_unit": "L", "minimum": D(9)},
                    packs=[("1 L bottle", D(1), "1 L", ""), ("5 L jug", D(5), "5 L", "")],
                )
                for name in names
            )
            supersede(old=old, new=new, on=now.date(), actor=owner, clock=fixed(now))
            deliver(new, "1 L bottle", 2, "20.00")
            deliver(stocked, "1 L bottle", 1, "36.00")
            draw(item=new, quantity=D("0.5"), reason="job", actor=owner, clock=fixed(now))
            draw(item=stocked, quantity=D("0.1"), reason="job", actor=owner, clock=fixed(now))
            Supplier.objects.create(name=f"Supplier {number}")
            made.append(new)

        grow()
        return grow

    @pytest.mark.parametrize(
        ("url", "at_most"),
        [
            ("/shelf/", 8),
            ("/shelf/?q=coolant", 9),
            ("/shelf/low/", 5),
            ("/shelf/movements/", 4),
            ("/shelf/deliveries/", 5),
            ("/shelf/suppliers/", 4),
            ("/shelf/items/{item}/", 14),
            ("/shelf/items/{item}/containers/", 5),
            ("/shelf/receive/?what=coolant", 8),
        ],
    )
    def test_lists(self, url, at_most, more, stocked, login):
        assert_budget(login("owner"), url.format(item=stocked.pk), at_most, more)
