"""The random book's acts at the shelf: goods come and go, are counted, wasted, undone, renamed and replaced."""

from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

from parts.actions.items import save_item, supersede, take_back_supersession
from parts.actions.prices import save_markup, set_pack_price
from parts.actions.receiving import Delivered, opening_stock, receive, undo_receipt
from parts.actions.stock import adjust, count_item, reverse, waste
from parts.models import Container, Item, Movement, Pack, Receipt, Supersession, Supplier
from parts.pricing import Band
from tests.invoicing.random_book import AT, LITERS, MONEY, RandomBook, act

D = Decimal
COUNT = st.integers(1, 4)
SHARE = st.sampled_from([D(0), D("0.25"), D("0.5"), D("0.999"), D(1), D("1.2")])


class Shelf(RandomBook):
    """What happens at the shelf."""

    def item(self, at: int, **which: Any) -> Item:
        return self.pick(Item.objects.filter(**which), at)

    @act(at=st.integers(0, 5), more=st.integers(0, 5), packs=COUNT, price=MONEY, known=st.booleans())
    def goods_come(self, at: int, more: int, packs: int, price: Decimal, known: bool) -> None:
        first = self.pick(Pack.objects.all(), at)
        lines = [Delivered(first, first.item, packs, price)]
        if more < 3:
            other = self.pick(Pack.objects.all(), more)
            lines.append(Delivered(other, other.item, packs, price + 1))
        supplier = Supplier.objects.first() if known else None
        self.do(receive, supplier=supplier, reference=f"D-{packs}", lines=lines)

    @act(at=AT)
    def a_delivery_is_undone(self, at: int) -> None:
        self.do(undo_receipt, receipt=self.pick(Receipt.objects.all(), at), reason="not ours")

    @act(at=st.integers(0, 5), packs=st.integers(0, 2), cost=MONEY, left=st.none() | LITERS)
    def opening_stock_is_written(self, at: int, packs: int, cost: Decimal, left: Decimal | None) -> None:
        pack = self.pick(Pack.objects.all(), at)
        self.do(opening_stock, item=pack.item, pack=pack, packs=packs, unit_cost=cost, opened_content=left)

    @act(at=st.integers(0, 9), share=SHARE, kind=st.sampled_from(["count", "count", "adjustment", "waste"]))
    def a_container_is_set(self, at: int, share: Decimal, kind: str) -> None:
        container = self.container(at)
        content = (container.size * share).quantize(D("0.001") if container.item.measured else D(1))
        self.do(adjust, container=container, content=content, kind=kind, reason="looked")

    @act(at=st.integers(0, 9), share=SHARE)
    def some_is_wasted(self, at: int, share: Decimal) -> None:
        container = self.container(at)
        quantity = (container.content * share).quantize(D("0.001") if container.item.measured else D(1))
        self.do(waste, container=container, quantity=quantity, reason="spilled")

    def container(self, at: int) -> Container:
        rows = Container.objects.filter(content__gt=0) if at % 2 else Container.objects.all()
        return self.pick(rows.select_related("item"), at // 2)

    @act(at=st.integers(0, 5))
    def a_movement_is_undone(self, at: int) -> None:
        """What the shelf's own page undoes: what a job drew is undone on the job."""
        rows = Movement.objects.exclude(kind__in=["draw", "return", "reversal"])
        self.do(reverse, movement=self.pick(rows, at), reason="a slip")

    @act(at=AT, quantity=st.integers(0, 12))
    def pieces_are_counted(self, at: int, quantity: int) -> None:
        self.do(count_item, item=self.item(at, base_unit="each"), quantity=D(quantity), reason="")

    @act(at=AT, replaces=st.booleans(), number=st.integers(1, 3))
    def a_new_number_comes(self, at: int, replaces: bool, number: int) -> None:
        old = self.item(at)
        fields = {"kind": old.kind, "name": f"{old.name} {number}", "base_unit": old.base_unit, "price": old.price}
        size = ("1 L bottle", D(1), "1 L", "") if old.measured else ("single", D(1), "1", "")
        replaced = old if replaces else None
        self.do(save_item, fields=fields, packs=[size], replaces=replaced)

    @act(at=AT, by=AT, note=st.sampled_from(["", "renamed", "renamed"]))
    def an_item_is_replaced(self, at: int, by: int, note: str) -> None:
        old = self.item(at)
        new = self.item(by, base_unit=old.base_unit) if note else self.item(by)
        self.do(supersede, old=old, new=new, on=self.now.date(), note=note)

    @act(at=AT)
    def a_replacement_is_taken_back(self, at: int) -> None:
        self.do(take_back_supersession, supersession=self.pick(Supersession.objects.filter(until=None), at))

    @act(at=AT, change=st.sampled_from(["name", "price", "core_deposit", "packs", "minimum"]), price=MONEY)
    def an_item_is_changed(self, at: int, change: str, price: Decimal) -> None:
        item = self.item(at)
        packs = [(pack.label, pack.size, pack.typed, pack.barcode) for pack in item.packs.filter(active=True)]
        changes: dict[str, dict[str, Any]] = {
            "name": {"name": f"{item.name}+"},
            "price": {"price": price},
            "core_deposit": {"core_deposit": price},
            "minimum": {"minimum": D(2), "wanted": D(4)},
        }
        packs = packs[1:] if change == "packs" else packs
        self.do(
            save_item,
            item=item,
            fields=changes.get(change, {}),
            packs=packs,
            numbers=item.numbers.values_list("kind", "number"),
        )

    @act(at=st.integers(0, 5), price=MONEY)
    def a_supplier_asks(self, at: int, price: Decimal) -> None:
        self.do(set_pack_price, pack=self.pick(Pack.objects.all(), at), supplier=Supplier.objects.get(), price=price)

    @act(markup=st.sampled_from([D("0.4"), D("1.1")]))
    def the_markup_is_set(self, markup: Decimal) -> None:
        self.do(save_markup, bands=[Band(D(10), markup), Band(None, D("0.3"))])
