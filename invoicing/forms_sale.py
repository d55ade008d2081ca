"""The sheet on which parts and fluids are sold over the counter: find, add, so many of each, how it is paid.

Everything is one form, as where a delivery is taken in: “Find”, “Add”, “Remove” and the choice of a customer are submit
buttons that send it and get it back, with and without JavaScript; Enter, and a scanner's, means “Find”. What only one
item answers to is added at once.
"""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.http import QueryDict
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _

from garage.asking import Asked, answer_to
from garage.cuts import Cut, first_of
from garage.errors import Questions, Refused
from garage.forms import KeyForm
from garage.forms_fields import needed
from garage.models import Customer, TaxClass
from garage.rows import Lenient
from garage.web import key_in, refuse
from invoicing import charges, queries
from invoicing.actions.selling import ON_ACCOUNT
from invoicing.forms import ClockReasonField
from invoicing.models import Payment
from invoicing.sums import Charge, Sums
from invoicing.totals import line_net
from jobs import intake_search
from jobs.actions.writing_up import kind_of
from jobs.forms import LineForm, line_start
from jobs.models import Finer, Line, LineKind
from jobs.sheet import ItemOffered, items_offered, offered
from parts import queries as shelf
from parts.models import Item, Pack

LINE = ("item", "quantity", "unit_price")
MOST_LINES = 40


class SaleHead(Lenient, KeyForm):
    """What is looked for, who buys, and how it is paid; nothing of it is chosen beforehand."""

    what = forms.CharField(label="What is sold", max_length=80, required=False)
    who = forms.CharField(label="Find a customer", max_length=80, required=False)
    customer = forms.ModelChoiceField(
        Customer.objects.filter(merged_into=None, walk_in=False), widget=forms.HiddenInput, required=False
    )
    method = forms.ChoiceField(
        label="Paid by",
        choices=[*Payment.Method.choices, (ON_ACCOUNT, "on account")],
        widget=forms.RadioSelect,
        error_messages=needed("Choose how it is paid."),
    )
    reference = forms.CharField(
        label="Reference", max_length=80, required=False, help_text=_("Such as the number of the check.")
    )
    order_number = forms.CharField(label="Their order number", max_length=60, required=False)
    clock_reason = ClockReasonField()


class SaleLine(Lenient, LineForm):
    """So much of an item at a price; what else a line says is the item's own."""

    def __init__(self, data: Any, *, item: Item, at: int) -> None:
        super().__init__(data, kind=kind_of(item))
        self.prefix, self.sold, self.number = f"lines-{at}", item, str(at)
        for name in list(self.fields):
            if name not in LINE:
                del self.fields[name]

    def values(self) -> dict[str, Any]:
        """What the verb takes of a line."""
        own = {"description": str(self.sold), "tax_class": self.sold.tax_class, "condition": Line.Condition.NEW}
        return {**super().values(), "discount": Decimal(0), **own, "item": self.sold}

    @property
    def charges(self) -> list[Charge]:
        """What it comes to with its core, once both figures can be read; shown before anything is judged."""
        read = LineForm(
            {name: self[name].value() for name in LINE[1:]} | {"description": "-", "tax_class": TaxClass.PARTS},
            kind=self.kind,
        )
        read.is_valid()
        if read.errors.keys() & set(LINE) or read.cleaned_data.get("unit_price") is None:
            return []
        figures = read.figures()
        net = line_net(figures.quantity, figures.unit_price)
        own = Charge(
            line=None,
            kind=self.kind,
            description=str(self.sold),
            quantity=figures.quantity,
            unit=figures.unit,
            unit_price=figures.unit_price,
            tax_class=self.sold.tax_class,
            net=net,
        )
        return [own, *self._core(figures.quantity)]

    def _core(self, quantity: Decimal) -> list[Charge]:
        deposit = self.sold.core_deposit
        if self.kind != LineKind.PART or not deposit:
            return []
        net = line_net(quantity, deposit)
        named = f"Core deposit, {self.sold}"
        return [
            Charge(None, LineKind.CHARGE, named, quantity, "each", deposit, self.sold.tax_class, net, finer=Finer.CORE)
        ]

    @property
    def amount(self) -> Decimal | None:
        """What the line itself comes to before tax; None while it cannot be read."""
        return self.charges[0].net if self.charges else None


class SaleSheet:
    """The sale as it stands on the screen; `item` and `customer` are what it begins with."""

    def __init__(self, data: QueryDict | None, *, item: Item | None = None, customer: Customer | None = None) -> None:
        self.pressed = data.get("press", "") if data else ""
        self.as_it_is = data.get("as_it_is", "") if data and not self.pressed else ""
        self.answered = bool(self.as_it_is)
        self.doubts, self.instead = list[str](), ""
        act, _, code = self.pressed.partition(" ")
        rows = _rows(data) if data else []
        new = data.copy() if data else QueryDict(mutable=True)
        self.what = new.get("what", "").replace("\0", "").strip()
        added = _added(act, code, self.offers, item)
        if added is not None:
            rows.append(added)
            new["what"] = self.what = ""
            self.__dict__.pop("offers", None)
        if act == "remove":
            rows = [row for at, row in enumerate(rows) if str(at) != code]
        if act == "for":
            new["customer"], new["who"] = code, ""
        elif customer is not None and data is None:
            new["customer"] = str(customer.pk)
        self.full = len(rows) > MOST_LINES
        self.who = new.get("who", "").replace("\0", "").strip()
        self.head = SaleHead(new)
        if data is None:
            new["key"] = str(self.head.fields["key"].initial())
        self.lines = _lines(rows[:MOST_LINES], new)
        if added is not None and self.lines:
            self.lines[-1].fields["quantity"].widget.attrs["autofocus"] = True
        elif not self.lines:
            self.head.fields["what"].widget.attrs["autofocus"] = True
        for form in self if not self.selling else ():
            cast(Lenient, form).judged = False

    @property
    def selling(self) -> bool:
        """Whether “Sell” was pressed, or a question answered: only then anything is judged."""
        return self.pressed == "sell" or self.answered

    @property
    def asked(self) -> Asked:
        """The questions of all lines, such as a price far from the shelf's, and the verb's: what is open too long."""
        asked = Asked(self.lines, any(form.errors for form in self))
        if self.doubts:
            asked.questions, asked.instead = [*asked.questions, *self.doubts], self.instead
            asked.answer = f"{asked.answer} {answer_to(self.doubts)}".strip()
        return asked

    @cached_property
    def offers(self) -> Cut[ItemOffered]:
        """What the typed text finds on the shelf; a pack's barcode finds its item alone."""
        if not self.what:
            return Cut()
        scanned = Pack.objects.filter(barcode=self.what, active=True).first()
        if scanned is None:
            return items_offered(self.what)
        found = first_of(shelf.with_former_names(shelf.items_today().filter(pk=scanned.item_id)), 1)
        return found.with_rows(offered(row) for row in found)

    @cached_property
    def customers(self) -> Cut[Customer]:
        """The customers that the typed name, phone or plate leads to."""
        return intake_search.customers_found(self.who) if self.who else Cut()

    @cached_property
    def customer(self) -> Customer | None:
        """Who buys; None where no name is asked."""
        known = self.head.fields["customer"]
        assert isinstance(known, forms.ModelChoiceField)
        key = key_in(self.head.data.get("customer", ""))
        found: Customer | None = known.queryset.filter(pk=key).first() if key and known.queryset is not None else None
        return found

    @cached_property
    def sums(self) -> Sums | None:
        """What all of it comes to that can be read, with tax; None where a tax class has no rate."""
        today = timezone.localdate()
        rows = [charge for line in self.lines for charge in line.charges]
        try:
            return charges.sums_of(rows, self.customer or Customer(), queries.rates_on(today), today)
        except Refused:
            return None

    def __iter__(self) -> Iterator[forms.BaseForm]:
        """Every form, for the summary of errors."""
        yield self.head
        yield from self.lines

    def is_valid(self) -> bool:
        """Whether it may be sold."""
        judged = [form.is_valid() for form in self]  # each of them says what is wrong with it
        return all(judged)

    def values(self) -> dict[str, Any]:
        """What `sell` takes."""
        names = ("key", "customer", "method", "reference", "order_number", "clock_reason")
        given = {name: self.head.cleaned_data[name] for name in names}
        return {**given, "as_it_is": self.as_it_is, "lines": [line.values() for line in self.lines]}

    def refuse(self, error: Refused) -> None:
        """Show a refusal beside the line's field that it names, else as any form does; questions as questions."""
        if isinstance(error, Questions):
            self.doubts, self.instead = error.questions, error.instead
            return
        for line in self.lines:
            for name in LINE:
                if error.field == line.add_prefix(name):
                    line.add_error(name, str(error))
                    return
        refuse(self.head, error)


def _rows(data: QueryDict) -> list[dict[str, str]]:
    """The lines as typed."""
    total = min(key_in(data.get("lines", "")) or 0, MOST_LINES)
    return [{name: data.get(f"lines-{at}-{name}", "") for name in LINE} for at in range(total)]


def _added(act: str, code: str, offers: Cut[ItemOffered], item: Item | None) -> dict[str, str] | None:
    """The line that comes to the sheet: what was pressed, or the only thing that the typed text finds."""
    if act == "add" and (key := key_in(code)) is not None:
        item = shelf.items_today().filter(pk=key).first()
    elif act == "find" and len(offers) == 1 and not offers.more:
        item = offers[0].item
    if item is None:
        return None
    start = line_start(kind_of(item), item, Decimal(0))
    return {"item": str(item.pk), "quantity": "" if item.measured else "1", "unit_price": start.get("unit_price", "")}


def _lines(rows: Sequence[dict[str, str]], data: QueryDict) -> list[SaleLine]:
    """A form for each line whose item is in the book; the typed data then holds these lines alone."""
    known = Item.objects.select_related("current").in_bulk([key for row in rows if (key := key_in(row["item"]))])
    kept = [(row, shelf.current_item(known[key])) for row in rows if (key := key_in(row["item"]) or 0) in known]
    for at, (row, _item) in enumerate(kept):
        for name, value in row.items():
            data[f"lines-{at}-{name}"] = value
    data["lines"] = str(len(kept))
    return [SaleLine(data, item=item, at=at) for at, (_row, item) in enumerate(kept)]
