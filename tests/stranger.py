"""A stranger with a dump of the tables and docs/sealed-rows.md: works out every hash anew.

Imports nothing of the program, nor a library of canonical JSON: RFC 8785 is written here once more.
"""

import datetime as dt
import hashlib
import json
import re
from collections.abc import Iterator
from typing import Any

Row = dict[str, Any]
Dump = dict[str, list[Row]]
#: By table, by number of the format: (name in the hash, column, kind).
Formats = dict[str, dict[int, list[tuple[str, str, str]]]]


def formats_in(page: str) -> Formats:
    """The lists of columns that stand in the page: one heading a table, one row a format and kind."""
    found: Formats = {}
    table = ""
    for line in page.partition("## The columns")[2].splitlines():
        if heading := re.fullmatch(r"### (\w+)", line):
            table = heading[1]
        if row := re.fullmatch(r"\| (\d+) \| (\w+) \| ([\w= ]+) \|", line):
            listed = found.setdefault(table, {}).setdefault(int(row[1]), [])
            for word in row[3].split():
                name, _, column = word.partition("=")
                listed.append((name, column or name, row[2]))
    return found


def chains_in(page: str) -> dict[str, tuple[str, str]]:
    """By chain: its table, and the column with the clock's reading."""
    section = page.partition("## Chains")[2].partition("###")[0]
    rows = re.findall(r"^\| (\w+) \| (\w+_\w+) \| (\w+) \|$", section, re.MULTILINE)
    return {chain: (table, moment) for chain, table, moment in rows}


def canonical(value: Any) -> str:
    """JSON as RFC 8785 writes it; of numbers there are none, they are texts here."""
    if value is None or isinstance(value, bool):
        return json.dumps(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list):
        return "[" + ",".join(canonical(one) for one in value) + "]"
    pairs = sorted(value.items(), key=lambda pair: pair[0].encode("utf-16-be"))
    return "{" + ",".join(f"{canonical(name)}:{canonical(one)}" for name, one in pairs) + "}"


def digest(value: Any) -> str:
    return hashlib.sha256(canonical(value).encode()).hexdigest()


def texts_for_numbers(text: Any) -> Any:
    """A JSON column with its numbers as texts."""
    if not isinstance(text, str):
        text = json.dumps(text)
    return json.loads(text, parse_int=str, parse_float=lambda number: repr(float(number)).removesuffix(".0"))


def said(kind: str, stored: Any) -> Any:
    """A stored value as the page says that it is hashed."""
    if stored is None:
        return None
    if kind == "figure":
        return str(int(stored))
    if kind == "flag":
        return bool(stored)
    if kind == "day":
        return str(stored)
    if kind == "moment":
        moment = stored if isinstance(stored, dt.datetime) else dt.datetime.fromisoformat(stored)
        moment = moment.replace(tzinfo=dt.UTC) if moment.tzinfo is None else moment.astimezone(dt.UTC)
        return moment.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    return texts_for_numbers(stored) if kind == "json" else stored


class Stranger:
    """Checks a dump by the page alone."""

    def __init__(self, page: str, dump: Dump) -> None:
        self.page, self.dump, self.formats = page, dump, formats_in(page)

    def content(self, table: str, row: Row) -> Row:
        listed = self.formats[table][int(row["sealed_format"])]
        return {name: said(kind, row[column]) for name, column, kind in listed}

    def rows(self, table: str, parent: str, key: Any, *order: str) -> list[Row]:
        mine = [row for row in self.dump[table] if row[parent] == key]
        return sorted(mine, key=lambda row: [row[column] for column in order])

    def work(self, paper: str, key: Any) -> list[Row]:
        """The operations of an estimate or an invoice with their lines."""
        table = f"invoicing_{paper}"
        return [
            {
                **self.content(f"{table}operation", operation),
                "lines": [
                    self.content(f"{table}line", line)
                    for line in self.rows(f"{table}line", f"{paper}_operation_id", operation["id"], "position", "id")
                ],
            }
            for operation in self.rows(f"{table}operation", f"{paper}_id", key, "position")
        ]

    def contents(self, table: str, parent: str, key: Any) -> list[Row]:
        return [self.content(table, row) for row in self.rows(table, parent, key, "id")]

    def parents(self) -> Iterator[tuple[str, Row, Any]]:
        """Every row that seals others, with what it seals."""
        for row in self.dump["invoicing_estimate"]:
            sealed = {
                "estimate": self.content("invoicing_estimate", row),
                "operations": self.work("estimate", row["id"]),
            }
            yield "invoicing_estimate", row, sealed
        estimates = {row["id"]: row["content_sha256"] for row in self.dump["invoicing_estimate"]}
        for row in self.dump["invoicing_authorization"]:
            decided = self.contents("invoicing_authorizationoperation", "authorization_id", row["id"])
            sealed = {"estimate": estimates[row["estimate_id"]], "operations": decided}
            yield "invoicing_authorization", row, sealed
        for row in self.dump["invoicing_invoice"]:
            taxes = self.contents("invoicing_invoicetax", "invoice_id", row["id"])
            yield "invoicing_invoice", row, {"operations": self.work("invoice", row["id"]), "taxes": taxes}
        for act in ("payment", "allocation"):
            for row in self.dump[f"invoicing_{act}"]:
                parts = self.contents("invoicing_paymentpart", f"{act}_id", row["id"])
                yield f"invoicing_{act}", row, {"parts": parts}

    def faults(self) -> Iterator[str]:
        """Whatever is not as the page says, one sentence each."""
        yield from self.chain_faults()
        for table, row, sealed in self.parents():
            if digest(sealed) != row["content_sha256"]:
                yield f"{table} {row['id']}: its rows are not those that were sealed"
        sides = {row["id"]: row for row in self.dump["garage_siderow"]}
        for table in self.formats:
            for row in self.dump[table]:
                for name in ("side", "person"):
                    if row.get(f"{name}_id") is not None:
                        yield from self.side_faults(
                            f"{table} {row['id']}", sides[row[f"{name}_id"]], row[f"{name}_seal"]
                        )

    def chain_faults(self) -> Iterator[str]:
        counters = {row["series"]: (row["value"], row["last_hash"]) for row in self.dump["garage_counter"]}
        for chain, (table, moment) in chains_in(self.page).items():
            before, seq, reading, key = "", 0, "", 0
            for row in sorted(self.dump[table], key=lambda one: one["chain_seq"]):
                now = said("moment", row[moment])
                if (row["previous_hash"], row["chain_seq"]) != (before, seq + 1) or row["id"] <= key:
                    yield f"{table} {row['id']}: does not follow the row before it"
                if digest(self.content(table, row)) != row["row_hash"]:
                    yield f"{table} {row['id']}: is not what was sealed"
                if bool(row["clock_behind"]) != (now < reading):
                    yield f"{table} {row['id']}: its mark and its clock do not agree"
                before, seq, reading, key = row["row_hash"], row["chain_seq"], now, row["id"]
            if counters.get(f"chain:{chain}", (0, "")) != (seq, before):
                yield f"chain {chain}: does not end where its counter says"

    def side_faults(self, name: str, side: Row, seal: str) -> Iterator[str]:
        data = texts_for_numbers(side["data"])
        if side["erased_at"] is not None:
            if data or side["salt"]:
                yield f"{name}: what stands beside it is not erased as it says"
        elif digest({"data": data, "salt": side["salt"]}) != seal:
            yield f"{name}: what stands beside it is not what was sealed"
