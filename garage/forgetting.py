"""What the book holds of a customer, and what of it may be erased today: the rest stays for the record years.

Each app registers what it holds of a customer in its own tables, and what keeps a customer from being forgotten yet.
"""

import datetime as dt
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, field

from django.db.models import Q, QuerySet

from garage.actions.erasing import RECORD_YEARS
from garage.models import AuditEntry, Customer, Document, OutgoingMail, SideRow, StoredFile, Vehicle


@dataclass(frozen=True)
class Held:
    """What one app holds of some customers: keys of side rows, papers (kind, keys) and the records behind them.

    `records` are the model labels and keys that entries of the history name; `files` are stored files of other kinds.
    """

    side_rows: QuerySet[SideRow] | None = None
    papers: dict[str, Collection[int]] = field(default_factory=dict)
    records: dict[str, Collection[int]] = field(default_factory=dict)
    files: Collection[int] = ()


Holder = Callable[[Collection[int]], Held]
Objection = Callable[[Customer], Iterable[str]]
Finder = Callable[[Collection[int]], None]
_holders: list[Holder] = []
_objections: list[Objection] = []
_finders: list[Finder] = []


def register(holder: Holder, objection: Objection | None = None, finder: Finder | None = None) -> None:
    """Name what an app holds of customers; why one cannot be forgotten yet; and how its finds are written anew."""
    if holder not in _holders:
        _holders.append(holder)
        _objections.extend([objection] if objection else [])
        _finders.extend([finder] if finder else [])


def objections_to(customer: Customer) -> list[str]:
    """Why a customer cannot be forgotten yet."""
    return [sentence for objection in _objections for sentence in objection(customer)]


def find_anew(customers: Collection[int]) -> None:
    """Write what is found of some customers anew, after their names are gone."""
    for finder in _finders:
        finder(customers)


@dataclass(frozen=True)
class Share:
    """One kind of thing: how many are erased now, how many stay, and until when the last of them stays."""

    what: str
    now: int
    later: int
    until: dt.date | None


class Belongings:
    """Everything the book holds of a customer, those merged into it included."""

    def __init__(self, customer: Customer) -> None:
        self.keys = list(customer.same().values_list("pk", flat=True))
        held = [holder(self.keys) for holder in _holders]
        cars = Vehicle.objects.filter(owner__in=self.keys).values_list("pk", flat=True)
        records: dict[str, set[int]] = {"garage.customer": set(self.keys), "garage.vehicle": set(cars)}
        papers: dict[str, set[int]] = {}
        for one in held:
            for label, keys in one.records.items():
                records.setdefault(label, set()).update(keys)
            for kind, keys in one.papers.items():
                papers.setdefault(kind, set()).update(keys)
        self.files_beside = [key for one in held for key in one.files]
        self.papers = papers
        named = [f"{label}:{key}" for label, keys in records.items() for key in keys]
        history = AuditEntry.objects.filter(record__in=named).values("side")
        wanted = Q(pk__in=history)
        for one in held:
            if one.side_rows is not None:
                wanted |= Q(pk__in=one.side_rows.values("pk"))
        self.side_rows = SideRow.objects.filter(wanted, erased_at=None)

    def mails(self) -> QuerySet[OutgoingMail]:
        """Messages that carried one of the papers."""
        return OutgoingMail.objects.filter(self._of("purpose"), erased_at=None).order_by("pk")

    def files(self) -> QuerySet[StoredFile]:
        """The papers' files, and the photos."""
        made = Document.objects.filter(self._of("kind")).values("stored")
        return StoredFile.objects.filter(Q(pk__in=made) | Q(pk__in=self.files_beside), erased_at=None).order_by("pk")

    def _of(self, name: str) -> Q:
        wanted = Q(pk__in=[])
        for kind, keys in self.papers.items():
            wanted |= Q(**{name: kind, "source__in": keys})
        return wanted

    def shares(self, now: dt.datetime) -> list[Share]:
        """What of each kind goes now and what stays for the record years."""
        photos = self.files().filter(kind=StoredFile.Kind.PHOTO).count()
        return [
            _share("Names and words beside papers and in the history", self.side_rows, "written_at", now),
            _share("Papers", self.files().exclude(kind=StoredFile.Kind.PHOTO), "created", now),
            _share("Mail", self.mails(), "queued_at", now),
            Share("Photos", photos, 0, None),
        ]


def over_at(now: dt.datetime) -> dt.datetime:
    """What was written up to here is older than the record years, counted with a leap day each."""
    return now - dt.timedelta(days=366 * RECORD_YEARS)


def _share(what: str, rows: "QuerySet[SideRow] | QuerySet[StoredFile] | QuerySet[OutgoingMail]", moment: str,
           now: dt.datetime) -> Share:  # fmt: skip
    over = rows.filter(**{f"{moment}__lte": over_at(now)}).count()
    staying = list(rows.filter(**{f"{moment}__gt": over_at(now)}).values_list(moment, flat=True))
    until = (max(staying) + dt.timedelta(days=366 * RECORD_YEARS)).date() if staying else None
    return Share(what, over, len(staying), until)
