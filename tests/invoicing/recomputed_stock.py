"""The stranger's second half: what each movement of stock is worth, what it leaves, and what a line of a bill cost."""

from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction

from tests.invoicing.raw_rows import BILLION, Book, Row, Wrong, half_up


def stock(book: Book) -> Iterator[Wrong]:
    """Each movement's worth in the order of the ledger, and what it leaves in its container and of its item."""
    holds: dict[int, list[int]] = defaultdict(lambda: [0, 0])
    items: dict[int, list[int]] = defaultdict(lambda: [0, 0])
    out: dict[int, list[int]] = {}
    for row in sorted(book["parts_movement"].values(), key=lambda row: row["chain_seq"]):
        content, value = holds[row["container_id"]]
        worth = _worth(book, row, content, value, out)
        yield from book.expect("value of a movement", f"movement {row['id']} {row['kind']}", row["value"], worth)
        _follow_out(row, out, book)
        for sums in (holds[row["container_id"]], items[row["item_id"]]):
            sums[0] += row["quantity"]
            sums[1] += row["value"]
        yield from book.expect("less than nothing", f"movement {row['id']}", min(*holds[row["container_id"]], 0), 0)
    for key, box in book["parts_container"].items():
        yield from book.expect("content and value", f"container {key}", [box["content"], box["value"]], holds[key])
        yield from book.expect("room", f"container {key}", box["content"] <= (box["capacity"] or box["content"]), True)
        sound = bool(box["content"]) or not box["value"]
        yield from book.expect("value of an empty one", f"container {key}", sound, True)
    for key, item in book["parts_item"].items():
        yield from book.expect("stock of an item", f"item {key}", [item["on_hand"], item["stock_value"]], items[key])


def _worth(book: Book, row: Row, content: int, value: int, out: dict[int, list[int]]) -> int:
    """What a movement is worth in millionths, where its container holds `content` worth `value`."""
    box, quantity = book["parts_container"][row["container_id"]], row["quantity"]
    at_cost = half_up(Fraction(abs(quantity) * box["unit_cost"], BILLION))
    if row["kind"] == "receipt":
        line = book["parts_receiptline"][box["receipt_line_id"]]
        price = line["pack_price"] if _measured(book, row) else line["pack_price"] * line["packs"]
        return int(price)
    if row["kind"] == "reversal":
        undone = book["parts_movement"][row["reverses_id"]]
        if quantity > 0:
            return -int(undone["value"])
        return -value if -quantity == content else -min(int(undone["value"]), value)
    if row["kind"] == "return":
        left, worth = out[row["returns_id"]]
        return worth if quantity == left else min(half_up(Fraction(worth * quantity, left)), worth)
    if row["kind"] == "opening" and quantity == box["size"] and row["value"] != at_cost:
        return _opened_at_cost(row, box)
    if quantity > 0:
        return at_cost
    return -value if -quantity == content else -min(at_cost, value)


def _opened_at_cost(row: Row, box: Row) -> int:
    """A full pack of opening stock: its cost a unit is its worth by its size, so that worth is one of a few.

    A pack that was opened and left full bears what was typed for a unit instead, and is worth that.
    """
    cost = half_up(Fraction(row["value"] * BILLION, row["quantity"]))
    return int(row["value"]) if cost == box["unit_cost"] else -1


def _measured(book: Book, row: Row) -> bool:
    return bool(book["parts_item"][row["item_id"]]["base_unit"] == "L")


def _follow_out(row: Row, out: dict[int, list[int]], book: Book) -> None:
    """What of each draw is still out, and what that is worth."""
    if row["kind"] == "draw":
        out[row["id"]] = [-row["quantity"], -row["value"]]
        return
    key = row["returns_id"]
    if row["kind"] == "reversal":
        undone = book["parts_movement"][row["reverses_id"]]
        key = undone["id"] if undone["kind"] == "draw" else undone["returns_id"]
    if key is not None:
        out[key][0] -= row["quantity"]
        out[key][1] -= row["value"]


def draw_behind(book: Book, row: Row) -> int | None:
    """The draw that a movement is, undoes, brings back from, or undoes the bringing back of."""
    undone = book["parts_movement"].get(row["reverses_id"] or 0)
    first = undone or row
    return int(first["id"]) if first["kind"] == "draw" else first["returns_id"]


def used(book: Book, until: str = "") -> dict[int, list[int]]:
    """What was drawn for each line of a sheet and did not come back (until a moment): quantity and cost."""
    lines = {draw["movement_id"]: draw["line_id"] for draw in book["jobs_draw"].values()}
    sums: dict[int, list[int]] = defaultdict(lambda: [0, 0])
    for row in book["parts_movement"].values():
        line = lines.get(draw_behind(book, row) or 0)
        if line is not None and (not until or str(row["at"]) <= until):
            sums[line][0] -= row["quantity"]
            sums[line][1] -= row["value"]
    return sums


def costs(book: Book) -> Iterator[Wrong]:
    """Over invoices and credits a line bears the cost of what is out for it once, or not at all."""
    borne: dict[int, int] = defaultdict(int)
    for line in book["invoicing_invoiceline"].values():
        if line["line_id"] is not None:
            borne[line["line_id"]] += line["cost"]
    out = used(book)
    for key, cost in borne.items():
        yield from book.expect("cost of a line", f"line {key}", cost, out[key][1] if cost else 0)


def drawn_when_issued(book: Book) -> Iterator[Wrong]:
    """What an invoice bills from the shelf is what was out for it at that moment: quantity, and the cost of it that no
    earlier paper bears (one that was credited and not to be billed again bears that of what did not come back)."""
    on_shelf = {row["line_id"] for row in book["jobs_draw"].values()}
    papers = {key: row for key, row in book["invoicing_invoice"].items() if row["kind"] == "invoice"}
    lines = book.by("invoicing_invoiceline", "invoice_operation_id")
    operations = book["invoicing_invoiceoperation"]
    bearing = book.by("invoicing_invoiceline", "line_id")
    for operation in operations.values():
        paper = papers.get(operation["invoice_id"])
        mine = [line for line in lines[operation["id"]] if line["line_id"] in on_shelf]
        if paper is None or not mine:
            continue
        out = used(book, str(paper["issued_at"]))
        for line in mine:
            stored, what = [line["base_quantity"], line["cost"]], f"{paper['label']} {line['description']}"
            quantity, cost = out[line["line_id"]]
            for row in bearing[line["line_id"]]:
                if operations[row["invoice_operation_id"]]["invoice_id"] < operation["invoice_id"]:
                    cost -= row["cost"]
            yield from book.expect("drawn for a line", what, stored, [quantity, cost])
