"""What a day asks for besides its cars: what runs low, what is owed and overdue, mail, services due."""

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Sum
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from garage import late, mail
from garage.access import may
from garage.cuts import Cut, first_of
from garage.models import User
from garage.pressing import Act
from garage.templatetags.figures import quantity, when
from invoicing import queries
from invoicing.comparing import how_much
from invoicing.models import Invoice, Receivable
from invoicing.next_act import money_act
from invoicing.only_authorized import SEEN_FOR, given_up_since
from jobs.calls import Call, calls, cars_due
from parts import queries as shelf

SHOWN = 4


@dataclass(frozen=True)
class Note:
    """One thing in the margin: what, small below it, how far it is past its limit, an amount or a quantity, one act."""

    what: str
    small: str = ""
    href: str = ""
    late: str = ""
    amount: Decimal | None = None
    figure: str = ""
    act: Act | None = None


@dataclass(frozen=True)
class Beside:
    """Notes under a heading, with what they come to and the one act for all of them; `page` lists them all."""

    heading: str
    rows: Cut[Note]
    page: str = ""
    said: str = ""
    total: Decimal | None = None
    act: Act | None = None


def margin_for(user: User, now: dt.datetime) -> list[Beside]:
    """What stands beside this person's day; what is empty is left out."""
    day = timezone.localtime(now).date()
    found: list[Beside] = []
    if may(user, "shelf"):
        found.append(_low())
    if may(user, "books"):
        found += [_overdue(user, day), _sold(day), _mail()]
    if may(user, "counter"):
        found.append(_due(day))
    if may(user, "shop"):
        found.append(_given_up(now))
    return [part for part in found if part.rows or part.said]


def _low() -> Beside:
    """What the shelf is short of; no price is shown here."""
    items = first_of(shelf.items_low().order_by("name", "pk"), SHOWN)
    page = reverse("parts:low")
    number = items.known
    return Beside(
        _("Shelf"),
        items.with_rows(
            Note(
                what=str(item),
                href=reverse("parts:item", args=[item.pk]),
                figure=quantity(item.there, item.base_unit),
            )
            for item in items
        ),
        page,
        said=ngettext("%(number)s item runs low", "%(number)s items run low", number) % {"number": number}
        if number
        else "",
        act=Act(_("Order list"), href=page),
    )


def _overdue(user: User, day: dt.date) -> Beside:
    owed = queries.owed().filter(balance__gt=0, due_on__lt=day)
    rows = first_of(owed, SHOWN)
    total = owed.aggregate(all=Sum("balance"))["all"] if rows.more else sum((row.balance for row in rows), Decimal(0))
    number = rows.known
    return Beside(
        _("Money"),
        rows.with_rows(_owed(user, row, day) for row in rows),
        f"{reverse('invoicing:invoices')}?kind=overdue",
        said=ngettext("%(number)s invoice overdue", "%(number)s invoices overdue", number) % {"number": number}
        if number
        else "",
        total=total,
    )


def _owed(user: User, row: Receivable, day: dt.date) -> Note:
    return Note(
        what=row.customer.name,
        small=row.invoice.label,
        href=reverse("invoicing:invoice", args=[row.invoice_id]),
        late=late.days_overdue((row.due_on - day).days),
        amount=row.balance,
        act=money_act(row, user),
    )


def _sold(day: dt.date) -> Beside:
    """What went over the counter today."""
    sales = queries.sales().filter(kind=Invoice.Kind.INVOICE, issued_on=day).order_by("-pk")
    rows = first_of(sales.prefetch_related("operations__lines"), SHOWN)
    page = f"{reverse('invoicing:invoices')}?kind=sale"
    return Beside(_("Sold at the counter today"), rows.with_rows(_sale(invoice) for invoice in rows), page)


def _sale(invoice: Invoice) -> Note:
    lines = [line for operation in invoice.operations.all() for line in operation.lines.all()]
    return Note(
        what=f"{invoice.label} · {invoice.customer.name}",
        small=", ".join(f"{how_much(line.quantity, line.unit)} {line.description}" for line in lines),
        href=reverse("invoicing:invoice", args=[invoice.pk]),
        amount=invoice.gross,
    )


def _mail() -> Beside:
    """Mail that a person must decide about, and mail that waits because there is no server to send it."""
    rows = first_of(queries.unsettled_mail(), SHOWN)
    waiting = 0 if mail.is_set_up() else queries.waiting_mail().count()
    said = ngettext("%(number)s message waits", "%(number)s messages wait", waiting) % {"number": waiting}
    page = reverse("mail")
    return Beside(
        _("Mail"),
        rows.with_rows(
            Note(
                what=row.subject,
                small=f"{row.get_state_display()} · {row.to} · {row.problem}",
                href=f"{page}?state={row.state}",
            )
            for row in rows
        ),
        page,
        said=_("%(waiting)s: no mail server is set") % {"waiting": said} if waiting else "",
        act=Act(_("Open mail"), href=f"{page}?state=queued" if waiting and not rows else page),
    )


def _due(day: dt.date) -> Beside:
    """The cars to call about: what is due on them is past its day or its distance."""
    since = day - dt.timedelta(days=1)
    cars = Cut.of(cars_due(day, until=since, component=None, text=""), SHOWN)
    page = f"{reverse('jobs:due')}?within=overdue"
    rows = calls([car for _on, car in cars], day, until=since) if cars else []
    return Beside(_("Services due"), cars.with_rows(_call(row) for row in rows), page)


def _call(row: Call) -> Note:
    late = [service for service in row.services if service.overdue]
    return Note(
        what=" · ".join(filter(None, [row.vehicle.plate, str(row.vehicle)])),
        small=", ".join(str(service.due.procedure) for service in late),
        href=reverse("vehicle", args=[row.vehicle.pk]),
        late=late[0].late if late else "",
    )


def _given_up(now: dt.datetime) -> Beside:
    """For the owner: what was not charged because nobody had authorized it, by whom and when; none is left out."""
    rows = Cut(
        Note(
            what=f"{seen.job.number} · {seen.job.customer.name}",
            small=f"{seen.entry.actor or _('the program')}, {when(seen.entry.at)}",
            href=reverse("jobs:sheet", args=[seen.job.pk]),
            amount=seen.net,
        )
        for seen in given_up_since(now - SEEN_FOR)
    )
    return Beside(_("Not charged because not authorized, last 30 days"), rows)
