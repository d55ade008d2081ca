"""The sheet on which a delivery is taken in: find what arrived, add it, so many packs at a price a pack.

Everything is one form. “Find”, “Add” and “Remove” are submit buttons that send it and get it back with what was
asked for, so that it works the same with and without JavaScript, and a barcode scanner's Enter means “Find”.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.forms.formsets import formset_factory
from django.http import QueryDict
from django.utils.functional import cached_property

from garage import idempotency
from garage.asking import AskingForm
from garage.cuts import Cut, first_of
from garage.forms import KeyForm, UnitPriceFormField
from garage.forms_fields import needed, plain_text
from garage.rows import Lenient
from garage.web import key_in
from parts import queries
from parts.actions.receiving import Delivered
from parts.doubts import about_delivery
from parts.models import Item, Pack, Supplier

LINE = ("item", "pack", "packs", "price")
MOST_LINES = 60
OFFERED = 8


@dataclass(frozen=True)
class Offer:
    """Something that could have arrived: a pack of an item, or single pieces of it; `code` is what “Add” sends."""

    item: Item
    pack: Pack | None
    code: str
    price: Decimal | None


class HeadForm(Lenient, AskingForm, KeyForm):
    """Who delivered, with which paper; and what is looked for."""

    supplier = forms.ModelChoiceField(Supplier.objects.all(), label="Supplier", required=False, empty_label="—")
    reference = forms.CharField(label="Delivery note or invoice number", max_length=60, required=False)
    what = forms.CharField(label="What arrived", max_length=80, required=False)


class LineForm(Lenient, forms.Form):
    """So many packs at a price a pack."""

    item = forms.IntegerField(widget=forms.HiddenInput)
    pack = forms.IntegerField(widget=forms.HiddenInput, required=False)
    packs = forms.IntegerField(
        label="Packs", min_value=1, max_value=10_000, error_messages=needed("Write how many packs arrived.")
    )
    price = UnitPriceFormField(
        label="Price a pack", minimum=Decimal(0), error_messages=needed("Write the price of a pack.")
    )

    offer: Offer
    number: str

    @property
    def amount(self) -> Decimal | None:
        """What the line comes to, once both figures can be read; shown before anything is judged."""
        try:
            packs, price = (self.fields[name].clean(self[name].value()) for name in ("packs", "price"))
        except ValidationError:
            return None
        return Decimal(packs * price)


LineSet = formset_factory(LineForm, extra=0, max_num=MOST_LINES, absolute_max=MOST_LINES)


class ReceiveSheet:
    """The delivery as it stands on the screen; `start` names packs and `what` a text to begin with."""

    def __init__(self, data: QueryDict | None, start: Sequence[str] = (), what: str = "") -> None:
        self.pressed = data.get("press", "") if data else ""
        self.answered = bool(data and data.get("as_it_is") and not self.pressed)
        act, _, code = self.pressed.partition(" ")
        rows = _rows(data) if data else []
        rows += _new_rows([code] if act == "add" else start)
        if act == "remove":
            rows = [row for index, row in enumerate(rows) if str(index) != code]
        self.left_out = max(0, len(rows) - MOST_LINES)
        rows = rows[:MOST_LINES]
        offers = _named(rows)
        typed = _written(data, [row for row, offer in zip(rows, offers, strict=True) if offer])
        if act == "add":
            typed["what"] = ""
        self.what = typed.get("what", what).replace("\0", "").strip()
        self.head = HeadForm(typed if data else None, initial={"what": what})
        self.lines = LineSet(typed, prefix="lines")
        for line, offer in zip(self.lines.forms, filter(None, offers), strict=True):
            line.offer = offer
        for index, line in enumerate(self.lines.forms):
            line.number = str(index)
        if not self.receiving:
            for form in self:
                cast(Lenient, form).judged = False

    @property
    def receiving(self) -> bool:
        """Whether “Receive” was pressed: only then anything is judged."""
        return self.pressed == "receive" or self.answered

    @cached_property
    def offers(self) -> Cut[Offer]:
        """What the typed text finds, each pack on its own; a barcode finds its pack alone."""
        if not self.what:
            return Cut()
        scanned = Pack.objects.filter(barcode=self.what, active=True).first()
        items = queries.items_today().filter(pk=scanned.item_id) if scanned else queries.find_items(self.what)
        found = first_of(items, OFFERED)
        offers = _offers(found)
        if scanned:
            return Cut(offer for offer in offers if offer.pack == scanned)
        return Cut(offers, more=found.more)

    @property
    def total(self) -> Decimal:
        """What the lines come to that can be read."""
        return sum((line.amount or Decimal(0) for line in self.lines.forms), Decimal(0))

    def __iter__(self) -> Iterator[forms.BaseForm]:
        """Every form, for the summary of errors."""
        yield self.head
        yield from self.lines.forms

    def is_valid(self) -> bool:
        """Whether the delivery may be taken in."""
        if not all([self.head.is_valid(), self.lines.is_valid()]):
            return False
        given = self.values()
        if not self.head.questions and not idempotency.used(given["key"]):
            for question in about_delivery(given["supplier"], given["reference"], given["lines"]):
                self.head.ask(question)
        return self.head.is_valid()

    def values(self) -> dict[str, Any]:
        """What `receive` takes."""
        head = self.head.cleaned_data
        lines = [
            Delivered(line.offer.pack, line.offer.item, line.cleaned_data["packs"], line.cleaned_data["price"])
            for line in self.lines.forms
        ]
        return {"key": head["key"], "supplier": head["supplier"], "reference": head["reference"], "lines": lines}


def _offers(items: Sequence[Item]) -> list[Offer]:
    packs = queries.priced_packs(items)
    offers: list[Offer] = []
    for item in items:
        offers += [Offer(item, pack, f"{item.pk}-{pack.pk}", pack.known_price) for pack in packs.get(item.pk, [])]
        if not item.measured:
            offers.append(Offer(item, None, f"{item.pk}-", item.last_cost))
    return offers


def _rows(data: QueryDict) -> list[dict[str, str]]:
    """The lines as typed."""
    total = min(key_in(data.get("lines-TOTAL_FORMS", "")) or 0, MOST_LINES)
    return [{name: data.get(f"lines-{index}-{name}", "") for name in LINE} for index in range(total)]


def _new_rows(codes: Sequence[str]) -> list[dict[str, str]]:
    """Lines for packs by their codes (`12-7`; `12-` for single pieces; `12-7-5` for five), priced as known."""
    wanted = [[*code.split("-"), "", "", ""][:3] for code in codes]
    items = queries.items_today().filter(pk__in=[key for item, *_rest in wanted if (key := key_in(item))])
    offers = {offer.code: offer for offer in _offers(list(items))}
    return [
        {"item": item, "pack": pack, "packs": str(key_in(packs) or 1), "price": _price(offer.price)}
        for item, pack, packs in wanted
        if (offer := offers.get(f"{item}-{pack}"))
    ]


def _price(price: Decimal | None) -> str:
    return plain_text(price, least=2) if price is not None else ""


def _named(rows: Sequence[dict[str, str]]) -> list[Offer | None]:
    """The item and pack of each line, in two queries; None for a line that names nothing known."""
    items = Item.objects.in_bulk([key for row in rows if (key := key_in(row["item"]))])
    packs = Pack.objects.in_bulk([key for row in rows if (key := key_in(row["pack"]))])
    found: list[Offer | None] = []
    for row in rows:
        item, pack = items.get(key_in(row["item"]) or 0), packs.get(key_in(row["pack"]) or 0)
        found.append(Offer(item, pack, "", None) if item else None)
    return found


def _written(data: QueryDict | None, rows: Sequence[dict[str, str]]) -> QueryDict:
    """The typed data with these lines in it."""
    new = data.copy() if data else QueryDict(mutable=True)
    for index, row in enumerate(rows):
        for name, value in row.items():
            new[f"lines-{index}-{name}"] = value
    new["lines-TOTAL_FORMS"], new["lines-INITIAL_FORMS"] = str(len(rows)), "0"
    return new
