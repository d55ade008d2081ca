"""What a day asks of each person: what is promised, what waits, what is low, what is owed; each with one next act."""

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

from django.urls import reverse
from django.utils import timezone

from garage import dates, mail
from garage.access import may
from garage.cuts import Cut, first_of
from garage.models import User
from garage.money import spoken
from garage.templatetags.figures import both
from invoicing import queries
from invoicing.comparing import how_much
from invoicing.models import Invoice, Receivable
from invoicing.only_authorized import SEEN_FOR, given_up_since
from jobs import queries as jobs_queries
from jobs import stages
from jobs.models import Job, Stage
from jobs.next_act import NEXT_ACT
from parts import queries as shelf
from parts.models import Item

SHOWN = 12

AT_WORK = (Stage.READY, Stage.IN_BAY)


@dataclass(frozen=True)
class Row:
    """One thing to be looked at: what, beside it in small, whom it waits for, a figure, and the one act."""

    heading: str
    small: str = ""
    href: str = ""
    stage: str = ""
    figure: str = ""
    other: str = ""
    act: str = ""
    act_href: str = ""


@dataclass(frozen=True)
class Section:
    """Rows under a heading; `page` lists them all."""

    heading: str
    rows: Cut[Row]
    page: str


def sections_for(user: User, now: dt.datetime) -> list[Section]:
    """What today asks of this person, the most pressing first; sections without rows are left out."""
    day = timezone.localtime(now).date()
    parts: list[Section] = []
    if may(user, "bay"):
        parts += _jobs(user, now)
    if may(user, "shelf"):
        parts.append(_low(user))
    if may(user, "books"):
        parts += [_overdue(user, day), _sold(day), _mail(user)]
    if may(user, "shop"):
        parts.append(_given_up(now))
    if not may(user, "bay"):
        parts.append(_to_invoice())
    return [part for part in parts if part.rows]


def _jobs(user: User, now: dt.datetime) -> list[Section]:
    """Every job in one section: promised for today first, then by what it waits for."""
    tonight = timezone.localtime(now).replace(hour=23, minute=59, second=59)
    shown = (*stages.OPEN, Stage.INVOICED) if may(user, "counter") else AT_WORK
    this_day = timezone.localtime(now).replace(hour=0, minute=0, second=0, microsecond=0)
    jobs = [
        job
        for job in jobs_queries.jobs().filter(stage__in=shown).order_by("promised_at", "pk")
        if job.stage != Stage.INVOICED or job.stage_since >= this_day
    ]
    promised = [job for job in jobs if job.promised_at and job.promised_at <= tonight and job.stage in stages.OPEN]
    others = [job for job in jobs if job not in promised]
    page = reverse("counter") if may(user, "counter") else reverse("bay")
    groups = [
        ("Promised for today", promised),
        ("Waiting", [job for job in others if job.stage in (Stage.WRITTEN_UP, Stage.AWAITING)]),
        ("For the bay", [job for job in others if job.stage in AT_WORK]),
        ("Finished, to be invoiced", [job for job in others if job.stage == Stage.FINISHED]),
        ("Invoiced today, to be collected", [job for job in others if job.stage == Stage.INVOICED]),
    ]
    return [
        Section(heading, rows.with_rows(_job(user, job, now) for job in rows), page)
        for heading, found in groups
        for rows in [Cut.of(found, SHOWN)]
    ]


def _job(user: User, job: Job, now: dt.datetime) -> Row:
    late = stages.is_late(job.stage, job.promised_at, now)
    promise = f"{'late: ' if late else ''}promised {_at(job.promised_at, now)}" if job.promised_at else ""
    vehicle = str(job.vehicle) if job.vehicle else job.customer.name
    plate = job.vehicle.plate if job.vehicle else ""
    act, page = NEXT_ACT[Stage(job.stage)] if may(user, "counter") else ("Open steps", "jobs:bay-job")
    return Row(
        heading=f"{job.number} · {vehicle}",
        small=" · ".join(filter(None, [plate, job.customer.name, f"key {job.key_tag}" * bool(job.key_tag), promise])),
        href=reverse("jobs:sheet" if may(user, "counter") else "jobs:bay-job", args=[job.pk]),
        stage=job.stage_sentence,
        act=act,
        act_href=reverse(page, args=[job.pk]),
    )


def _at(moment: dt.datetime, now: dt.datetime) -> str:
    return dates.short_day(moment, timezone.localtime(now))


def _low(user: User) -> Section:
    """What the shelf is short of; no price is shown here."""
    items = first_of(shelf.items_low(), SHOWN)
    receives = may(user, "stock")
    rows = items.with_rows(
        Row(
            heading=str(item),
            small=f"minimum {_quantity(item, item.minimum)}",
            href=reverse("parts:item", args=[item.pk]),
            figure=_quantity(item, item.there).partition(" · ")[0],
            other=_quantity(item, item.there).partition(" · ")[2],
            act="Order list" if receives else "Open",
            act_href=reverse("parts:low") if receives else reverse("parts:item", args=[item.pk]),
        )
        for item in items
    )
    return Section("Low on the shelf", rows, reverse("parts:low"))


def _quantity(item: Item, value: Decimal) -> str:
    return both(value, item.base_unit)


def _overdue(user: User, day: dt.date) -> Section:
    rows = first_of(queries.owed().filter(balance__gt=0, due_on__lt=day), SHOWN)
    page = f"{reverse('invoicing:invoices')}?kind=overdue"
    return Section("Overdue", rows.with_rows(_owed(user, row, day) for row in rows), page)


def _owed(user: User, row: Receivable, day: dt.date) -> Row:
    invoice = row.invoice
    days = (day - row.due_on).days
    takes = may(user, "invoicing")
    page = reverse("invoicing:invoice", args=[invoice.pk])
    return Row(
        heading=f"{invoice.label} · {row.customer.name}",
        small=f"due {dates.day(row.due_on)}, {days} {'day' if days == 1 else 'days'} ago",
        href=page,
        figure=spoken(row.balance),
        act="Record payment" if takes else "Open",
        act_href=reverse("invoicing:payment-add", args=[invoice.pk]) if takes else page,
    )


def _sold(day: dt.date) -> Section:
    """What went over the counter today."""
    sales = queries.sales().filter(kind=Invoice.Kind.INVOICE, issued_on=day).order_by("-pk")
    rows = first_of(sales.prefetch_related("operations__lines"), SHOWN)
    page = f"{reverse('invoicing:invoices')}?kind=sale"
    return Section("Sold at the counter today", rows.with_rows(_sale(invoice) for invoice in rows), page)


def _sale(invoice: Invoice) -> Row:
    lines = [line for operation in invoice.operations.all() for line in operation.lines.all()]
    return Row(
        heading=f"{invoice.label} · {invoice.customer.name}",
        small=", ".join(f"{how_much(line.quantity, line.unit)} {line.description}" for line in lines),
        href=reverse("invoicing:invoice", args=[invoice.pk]),
        figure=spoken(invoice.gross),
    )


def _mail(user: User) -> Section:
    """Mail that a person must decide about, and mail that waits because there is no server to send it."""
    rows = first_of(queries.unsettled_mail(), SHOWN)
    shown = rows.with_rows(
        Row(
            heading=row.subject,
            small=f"to {row.to} · {row.problem}",
            stage=row.get_state_display(),
            act="Open mail" if may(user, "invoicing") else "Open",
            act_href=f"{reverse('mail')}?state={row.state}",
        )
        for row in rows
    )
    waiting = 0 if mail.is_set_up() else queries.waiting_mail().count()
    if waiting:
        words = "1 message waits" if waiting == 1 else f"{waiting} messages wait"
        page = f"{reverse('mail')}?state=queued"
        small = "No mail server is set: save them as files, or give the program one."
        shown.append(Row(heading=words, small=small, act="Open mail", act_href=page))
    return Section("Mail that did not go out", shown, reverse("mail"))


def _given_up(now: dt.datetime) -> Section:
    """For the owner: what was not charged because nobody had authorized it, by whom and when; none is left out."""
    rows = Cut(
        Row(
            heading=f"{seen.job.number} · {seen.job.customer.name}",
            small=f"{seen.entry.actor or 'the program'}, {_at(seen.entry.at, now)}",
            href=reverse("jobs:sheet", args=[seen.job.pk]),
            figure=spoken(seen.net),
        )
        for seen in given_up_since(now - SEEN_FOR)
    )
    return Section("Not charged because not authorized, last 30 days", rows, "")


def _to_invoice() -> Section:
    """For those who read the books: work that is done and not billed."""
    jobs = first_of(jobs_queries.jobs().filter(stage=Stage.FINISHED), SHOWN)
    rows = jobs.with_rows(Row(heading=f"{job.number} · {job.customer.name}", stage=job.stage_sentence) for job in jobs)
    return Section("Finished, to be invoiced", rows, reverse("books"))
