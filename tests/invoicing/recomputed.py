"""Every figure of a book worked out anew from its raw rows, by somebody who imports nothing of the program.

The tables come as plain SQL gives them: cents, millionths of the currency for prices and values, billionths for
quantities and shares. The arithmetic is fractions, so nothing is rounded but where a rule says so. The rules are the
design's: a line is its printed quantity times its printed price less its discount, rounded half-up to the cent; a tax
is rounded once on all it is on; a movement of stock is worth its quantity at what its container cost a unit, the one
that empties a container takes what is left in it.

    python -m tests.invoicing.recomputed data/demo/book.sqlite3
"""

import json
import sqlite3
import sys
from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from tests.invoicing.raw_rows import BILLION, MILLION, Book, Row, Wrong, half_up
from tests.invoicing.recomputed_stock import costs, drawn_when_issued, stock

#: A US quart, gallon and fluid ounce in liters, exact by the inch (NIST Handbook 44, Appendix C); the imperial ones by
#: the gallon of 4.54609 L (Weights and Measures Act 1985, United Kingdom).
LITERS = {
    "L": Fraction(1), "mL": Fraction(1, 1000), "qt": Fraction("0.946352946"), "gal": Fraction("3.785411784"),
    "floz": Fraction("0.0295735295625"), "impqt": Fraction("1.1365225"), "impgal": Fraction("4.54609"),
}  # fmt: skip


def recomputed(book: Book, *, as_it_went: bool = False) -> Iterator[Wrong]:
    """Every figure that is not what it comes to.

    `as_it_went`: the clock was never set back and no tax rate typed over, so that what was drawn when an invoice was
    issued, and the rates of its day, can still be told.
    """
    yield from papers(book)
    yield from estimates(book)
    yield from taxes_of_invoices(book)
    yield from taxes_of_credits(book)
    yield from credited_lines(book)
    yield from money(book)
    yield from stock(book)
    yield from costs(book)
    if as_it_went:
        yield from rates_of_the_day(book)
        yield from drawn_when_issued(book)


# Papers: lines, operations, sums


def net_of(line: Row) -> int:
    """What a line comes to, in cents."""
    quantity, price = Fraction(line["quantity"], BILLION), Fraction(line["unit_price"], MILLION)
    return half_up(quantity * price * (1 - Fraction(line["discount"], BILLION)) * 100)


def lines_on_paper(book: Book, name: str, parent: str) -> Iterator[Wrong]:
    """A line stands as printed: three decimals of its own unit, a price in cents (four decimals below 1.00)."""
    for line in book[name].values():
        what, unit = f"{name} {line['id']} {line['description']}", line["unit"]
        if line.get("credits_id") is None:
            yield from book.expect("net of a line", what, line["net"], net_of(line))
        yield from book.expect("printed quantity", what, line["quantity"] % (BILLION // 1000), 0)
        step = MILLION // 100 if abs(line["unit_price"]) >= MILLION else MILLION // 10_000
        yield from book.expect("printed price", what, line["unit_price"] % step, 0)
        if line.get("credits_id") is None:
            printed = half_up(Fraction(line["base_quantity"], BILLION) / LITERS.get(unit, 1) * 1000)
            yield from book.expect("quantity beside what left", what, line["quantity"], printed * (BILLION // 1000))


def papers(book: Book) -> Iterator[Wrong]:
    """Lines to operations, operations to the sums before tax; the total is net and taxes."""
    yield from lines_on_paper(book, "invoicing_invoiceline", "invoice")
    lines = book.by("invoicing_invoiceline", "invoice_operation_id")
    operations = book.by("invoicing_invoiceoperation", "invoice_id")
    taxes = book.by("invoicing_invoicetax", "invoice_id")
    numbers: dict[str, list[int]] = defaultdict(list)
    for paper in book["invoicing_invoice"].values():
        mine = [line for row in operations[paper["id"]] for line in lines[row["id"]]]
        for row in operations[paper["id"]]:
            comes_to = sum(line["net"] for line in lines[row["id"]])
            yield from book.expect("net of an operation", f"{paper['label']} {row['title']}", row["net"], comes_to)
        yield from _sums(book, paper, paper["label"], mine, sum(row["tax"] for row in taxes[paper["id"]]))
        numbers[paper["series"]].append(paper["number"])
    for series, given in numbers.items():
        yield from book.expect("numbers of a series", series, sorted(given), list(range(1, len(given) + 1)))


def _sums(book: Book, paper: Row, what: str, lines: list[Row], tax: int) -> Iterator[Wrong]:
    labor = sum(line["net"] for line in lines if line["kind"] == "labor")
    parts = sum(line["net"] for line in lines if line["kind"] in ("part", "fluid"))
    net = sum(line["net"] for line in lines)
    figures = {"labor_net": labor, "parts_net": parts, "other_net": net - labor - parts, "net": net, "tax": tax}
    for name, comes_to in {**figures, "gross": net + tax}.items():
        yield from book.expect(f"{name} of a paper", what, paper[name], comes_to)


def estimates(book: Book) -> Iterator[Wrong]:
    """Estimates in the same way; their taxes at the rates sealed on them, alternatives beside the sums."""
    yield from lines_on_paper(book, "invoicing_estimateline", "estimate")
    lines = book.by("invoicing_estimateline", "estimate_operation_id")
    operations = book.by("invoicing_estimateoperation", "estimate_id")
    for paper in book["invoicing_estimate"].values():
        what, exempt = f"estimate {paper['id']}", beside(book, paper, "exemption")
        rates = [] if exempt else [row for row in loaded(paper["rates"]) if row["treatment"] != "outside"]
        rows = operations[paper["id"]]
        counted = [line for row in rows if row["counted"] for line in lines[row["id"]]]
        in_sums = [lines[row["id"]] for row in rows if row["counted"]]
        shares = iter(shares_of_tax(in_sums, rates))
        for row in rows:
            net = sum(line["net"] for line in lines[row["id"]])
            alone = shares_of_tax([lines[row["id"]]], rates)[0]
            gross = net + (next(shares) if row["counted"] else alone)
            yield from book.expect("net of an operation", f"{what} {row['title']}", row["net"], net)
            yield from book.expect("gross of an operation", f"{what} {row['title']}", row["gross"], gross)
        taxes = tax_by(counted, rates)
        printed = loaded(paper["taxes"])
        stored = {(row["tax_key"], Fraction(row["rate"])): half_up(Fraction(row["tax"]) * 100) for row in printed}
        yield from book.expect("taxes of an estimate", what, stored, taxes)
        yield from _sums(book, paper, what, counted, sum(taxes.values()))


def tax_by(lines: list[Row], rates: list[Row]) -> dict[tuple[int, Fraction], int]:
    """The cents of each tax at each rate, rounded once over all the classes it is on."""
    charged = {line["tax_class"] for line in lines}
    bases: dict[tuple[int, Fraction], int] = defaultdict(int)
    for rate in rates:
        if rate["tax_class"] in charged:
            base = sum(line["net"] for line in lines if line["tax_class"] == rate["tax_class"])
            bases[rate["tax"], Fraction(rate["rate"])] += base
    return {(tax, rate): half_up(base * rate) for (tax, rate), base in bases.items()}


def shares_of_tax(operations: list[list[Row]], rates: list[Row]) -> list[int]:
    """What each operation bears of the taxes on all of them: each tax in whole cents, the missing ones to the largest
    rests, of equal rests to the first, so that the shares add up to the tax."""
    shares = [0] * len(operations)
    for (tax, rate), cents in tax_by([line for lines in operations for line in lines], rates).items():
        on = {row["tax_class"] for row in rates if (row["tax"], Fraction(row["rate"])) == (tax, rate)}
        exact = [rate * sum(line["net"] for line in lines if line["tax_class"] in on) for lines in operations]
        down = [share.numerator // share.denominator for share in exact]
        by_rest = sorted(range(len(exact)), key=lambda place: down[place] - exact[place])
        for place in by_rest[: cents - sum(down)]:
            down[place] += 1
        shares = [share + part for share, part in zip(shares, down, strict=True)]
    return shares


def loaded(column: Any) -> Any:
    """A JSON column."""
    return json.loads(column) if isinstance(column, str) else column


def beside(book: Book, row: Row, name: str) -> Any:
    """What stands of a sealed row in its side row."""
    side = book["garage_siderow"].get(row["side_id"] or 0)
    return loaded(side["data"]).get(name, "") if side else ""


# Taxes


def taxes_of_invoices(book: Book) -> Iterator[Wrong]:
    """Each tax row of a paper: its base from the lines of its classes, its tax rounded once; none is left out.

    What a final invoice takes off for an advance invoice is that one's base and tax. The tax of a deposit is worked
    out of the amount received: within the cent that the rounding of its net may move it.
    """
    nets = nets_by_class(book)
    advances = {
        (row["invoice_id"], row["of_tax_id"], row["rate"]): row for row in book["invoicing_invoicetax"].values()
    }
    for row in book["invoicing_invoicetax"].values():
        paper = book["invoicing_invoice"][row["invoice_id"]]
        base = sum(nets[paper["id"], row["advance_id"]].get(name, 0) for name in row["tax_classes"].split())
        what = f"{paper['label']} {row['label']}"
        yield from book.expect("tax base", what, row["base"], base)
        if paper["kind"] == "invoice" and row["advance_id"] is not None:
            taken_off = advances[row["advance_id"], row["of_tax_id"], row["rate"]]
            stated = [-taken_off["base"], -taken_off["tax"]]
            yield from book.expect("tax taken off", what, [row["base"], row["tax"]], stated)
        elif paper["kind"] == "advance":
            near = abs(row["tax"] - row["base"] * Fraction(row["rate"], BILLION)) <= 1
            yield from book.expect("tax of a deposit", what, near, True)
        elif paper["kind"] == "invoice":
            yield from book.expect("tax", what, row["tax"], half_up(row["base"] * Fraction(row["rate"], BILLION)))


def nets_by_class(book: Book) -> dict[tuple[int, int | None], dict[str, int]]:
    """The cents charged on each paper in each tax class: of its work, and of each advance invoice it takes off."""
    found: dict[tuple[int, int | None], dict[str, int]] = defaultdict(lambda: defaultdict(int))
    operations = book["invoicing_invoiceoperation"]
    for line in book["invoicing_invoiceline"].values():
        billed = book["invoicing_invoiceline"][line["credits_id"]] if line["credits_id"] else line
        paper = operations[line["invoice_operation_id"]]["invoice_id"]
        found[paper, operations[billed["invoice_operation_id"]]["advance_id"]][line["tax_class"]] += line["net"]
    return found


def taxes_of_credits(book: Book) -> Iterator[Wrong]:
    """After each credit note the tax taken back is the rate on all that was credited so far; at last all."""
    so_far: dict[tuple[Any, ...], list[int]] = defaultdict(lambda: [0, 0])
    same = ("of_tax_id", "rate", "treatment", "reason", "advance_id")
    billed = {(row["invoice_id"], *(row[name] for name in same)): row for row in book["invoicing_invoicetax"].values()}
    for row in book["invoicing_invoicetax"].values():
        paper = book["invoicing_invoice"][row["invoice_id"]]
        if paper["kind"] != "credit_note":
            continue
        key = (paper["corrects_id"], *(row[name] for name in same))
        sums = so_far[key]
        sums[0] += row["base"]
        sums[1] += row["tax"]
        comes_to = half_up(sums[0] * Fraction(row["rate"], BILLION))
        if sums[0] == -billed[key]["base"]:
            comes_to = -billed[key]["tax"]
        yield from book.expect("tax credited so far", f"{paper['label']} {row['label']}", sums[1], comes_to)


def rates_of_the_day(book: Book) -> Iterator[Wrong]:
    """An invoice is taxed at the rates of its day, each class that is charged by every tax that is on it."""
    nets, taxes = nets_by_class(book), book.by("invoicing_invoicetax", "invoice_id")
    for paper in book["invoicing_invoice"].values():
        if paper["kind"] != "invoice":
            continue
        day, wanted = str(paper["issued_on"]), defaultdict[tuple[int, int], set[str]](set)
        for rate in () if beside(book, paper, "exemption") else book["invoicing_taxrate"].values():
            holds = str(rate["valid_from"]) <= day <= str(rate["valid_to"] or day)
            if holds and rate["treatment"] != "outside" and rate["tax_class"] in nets[paper["id"], None]:
                wanted[rate["tax_id"], rate["rate"]].add(rate["tax_class"])
        stored = {
            (row["of_tax_id"], row["rate"]): set(row["tax_classes"].split())
            for row in taxes[paper["id"]]
            if row["advance_id"] is None
        }
        yield from book.expect("taxes of the day", paper["label"], stored, dict(wanted))


def credited_lines(book: Book) -> Iterator[Wrong]:
    """Of a line no more is credited than was billed; all of it credited is all of its money, a part of it its price."""
    for key, rows in book.by("invoicing_invoiceline", "credits_id").items():
        if key is None:
            continue
        line = book["invoicing_invoiceline"][key]
        quantity, net = line["quantity"], line["net"]
        for row in rows:
            quantity, net = quantity + row["quantity"], net + row["net"]
            comes_to = net if quantity == 0 else None
            what = f"line {row['id']} of line {key}"
            rounded = row["net"] if quantity == 0 else net_of(row)
            yield from book.expect("net of a credited line", what, row["net"], rounded)
            yield from book.expect("left of a credited line", what, comes_to or 0, 0)
            yield from book.expect("credited quantity", what, quantity * line["quantity"] >= 0, True)
            same = ("unit", "unit_price", "discount", "tax_class")
            yield from book.expect("credited price", what, [row[name] for name in same], [line[name] for name in same])


# Money


def money(book: Book) -> Iterator[Wrong]:
    """Payments and moves equal their parts; what is owed is what was billed, less credits, less what was paid on it."""
    parts = book["invoicing_paymentpart"].values()
    for table, column in (("invoicing_payment", "payment_id"), ("invoicing_allocation", "allocation_id")):
        by_act = book.by("invoicing_paymentpart", column)
        for act in book[table].values():
            rows = by_act[act["id"]]
            moved = sum(max(row["amount"], 0) for row in rows) if column == "allocation_id" else None
            comes_to = sum(row["amount"] for row in rows) if moved is None else moved
            yield from book.expect("parts of money", f"{table} {act['id']}", act["amount"], comes_to)
            if moved is not None:
                yield from book.expect("moved money", f"{table} {act['id']}", sum(row["amount"] for row in rows), 0)
    owed: dict[int, int] = defaultdict(int)
    for paper in book["invoicing_invoice"].values():
        owed[paper["corrects_id"] or paper["id"]] += paper["gross"]
    for part in parts:
        if part["invoice_id"] is not None:
            owed[part["invoice_id"]] -= part["amount"]
    stored = {row["invoice_id"]: row["balance"] for row in book["invoicing_receivable"].values()}
    for key in owed.keys() | stored.keys():
        yield from book.expect("balance of an invoice", f"invoice {key}", stored.get(key), owed.get(key))
    yield from _balances(book)
    yield from _never_below(book)


def _balances(book: Book) -> Iterator[Wrong]:
    """A customer's balance by its places is what was billed less what was paid in all, deposits aside.

    Two who were one in the book for a while are looked at together: money of one may have been given to the other.
    """
    who = one_person(book)
    by_places: dict[int, int] = defaultdict(int)
    in_all: dict[int, int] = defaultdict(int)
    for row in book["invoicing_receivable"].values():
        by_places[who[row["customer_id"]]] += row["balance"]
    for part in book["invoicing_paymentpart"].values():
        if part["job_id"] is not None:
            in_all[who[part["customer_id"]]] += part["amount"]
        elif part["invoice_id"] is None:
            by_places[who[part["customer_id"]]] -= part["amount"]
    for paper in book["invoicing_invoice"].values():
        in_all[who[paper["customer_id"]]] += paper["gross"]
    for payment in book["invoicing_payment"].values():
        in_all[who[payment["customer_id"]]] -= payment["amount"]
    for key in by_places.keys() | in_all.keys():
        yield from book.expect("balance of a customer", f"customer {key}", by_places[key], in_all[key])


def one_person(book: Book) -> dict[int, int]:
    """Of each customer the first of those who were one with them in the book at some time."""
    who = {key: key for key in book["garage_customer"]}
    for entry in book["garage_auditentry"].values():
        if entry["verb"] == "merged" and entry["record"].startswith("garage.customer:"):
            pair = (who[int(entry["record"].partition(":")[2])], who[int(loaded(entry["details"])["into"])])
            who = {key: min(pair) if first in pair else first for key, first in who.items()}
    return who


def _never_below(book: Book) -> Iterator[Wrong]:
    """Nobody gives more of a payment from a place than of it stands there; only a bank takes back what is gone."""
    there: dict[tuple[Any, ...], int] = defaultdict(int)
    for part in book["invoicing_paymentpart"].values():
        payment = book["invoicing_payment"].get(part["payment_id"] or 0)
        place = (part["invoice_id"], part["job_id"], part["customer_id"], part["of_id"] or part["payment_id"])
        there[place] += part["amount"]
        if part["amount"] < 0 and (payment is None or payment["reverses_id"] is None):
            yield from book.expect("money taken", f"payment part {part['id']}", there[place] >= 0, True)


def main(path: str) -> int:
    """Check a book of SQLite's; say what was worked out and what is wrong."""
    connection = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    connection.row_factory = sqlite3.Row
    book = Book(lambda table: [dict(row) for row in connection.execute(f'SELECT * FROM "{table}"')])
    wrong = list(recomputed(book, as_it_went=True))
    for kind, count in sorted(book.checked.items()):
        sys.stdout.write(f"{count:8} {kind}\n")
    for row in wrong:
        sys.stdout.write(f"{row.what}: {row.stored} is stored, it comes to {row.comes_to}\n")
    sys.stdout.write(f"{book.checked.total()} figures, {len(wrong)} wrong\n")
    return int(bool(wrong) or not book.checked)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
