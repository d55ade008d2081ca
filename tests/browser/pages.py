"""The main pages of the program: who looks at them and where they are, in a garage that has something to show."""

from dataclasses import dataclass

from django.urls import reverse

from invoicing.models import Estimate, Invoice
from jobs import stages
from tests.browser.cast import Garage
from tests.browser.visits import Visit, visit

LONG_NAME = "Marlow Falls Volunteer Fire and Rescue Company No. 2"

#: A page by its name: the role that works with it, the name of its address, and what of the book it shows.
PAGES: dict[str, tuple[str, str, str]] = {
    "today": ("owner", "today", ""),
    "log in": ("", "login", ""),
    "find": ("counter", "find", ""),
    "counter": ("counter", "counter", ""),
    "new visit": ("counter", "jobs:intake", ""),
    "sell parts": ("counter", "invoicing:sale", ""),
    "visits of a customer": ("counter", "jobs:customer-visits", "customer"),
    "erase customer": ("owner", "customer-forget", "customer"),
    "job sheet": ("counter", "jobs:sheet", "written up"),
    "customer’s word": ("counter", "jobs:car-taken", "in the bay"),
    "job sheet, awaiting": ("counter", "jobs:sheet", "awaiting"),
    "job sheet, closed": ("counter", "jobs:sheet", "closed"),
    "add an operation": ("counter", "jobs:operation-add", "written up"),
    "add a line": ("counter", "jobs:line-add", "operation"),
    "estimate": ("counter", "invoicing:estimate", "estimate"),
    "record authorization": ("counter", "invoicing:authorize", "awaiting"),
    "make the invoice": ("counter", "invoicing:invoice-make", "finished"),
    "invoice, owed": ("counter", "invoicing:invoice", "invoice owed"),
    "invoice, paid": ("reader", "invoicing:invoice", "invoice paid"),
    "take payment": ("counter", "invoicing:payment-add", "invoice owed"),
    "credit memo": ("counter", "invoicing:credit", "invoice paid"),
    "books": ("reader", "books", ""),
    "invoices": ("reader", "invoicing:invoices", ""),
    "payments": ("reader", "invoicing:payments", ""),
    "taxes": ("owner", "invoicing:taxes", ""),
    "services due": ("counter", "jobs:due", ""),
    "bay": ("technician", "bay", ""),
    "bay job": ("technician", "jobs:bay-job", "in the bay"),
    "work order": ("technician", "jobs:work-order", "in the bay"),
    "finish": ("technician", "jobs:bay-finish", "in the bay"),
    "noticed something": ("technician", "jobs:advisory", "in the bay"),
    "procedures": ("technician", "jobs:procedures", ""),
    "procedure": ("technician", "jobs:procedure", "procedure"),
    "take in a procedure": ("technician", "jobs:procedure-file", ""),
    "shelf": ("counter", "shelf", ""),
    "item": ("counter", "parts:item", "fluid"),
    "change an item": ("counter", "parts:item-edit", "fluid"),
    "new item": ("counter", "parts:item-new", ""),
    "receive": ("counter", "parts:receive", ""),
    "low": ("counter", "parts:low", ""),
    "containers": ("counter", "parts:containers", "fluid"),
    "movements": ("counter", "parts:movements", ""),
    "suppliers": ("counter", "parts:suppliers", ""),
    "markup": ("counter", "parts:markup", ""),
    "customers": ("counter", "customers", ""),
    "customer": ("counter", "customer", "customer"),
    "new customer": ("counter", "customer-new", ""),
    "vehicle": ("counter", "vehicle", "vehicle"),
    "new vehicle": ("counter", "vehicle-new", ""),
    "another owner": ("counter", "vehicle-owner", "vehicle"),
    "odometer": ("counter", "odometer-add", "vehicle"),
    "mail": ("counter", "mail", ""),
    "the shop": ("owner", "shop-profile", ""),
    "people": ("owner", "people", ""),
    "a person": ("owner", "person-edit", "person"),
    "own password": ("counter", "own-password", ""),
}


@dataclass(frozen=True)
class Shown:
    """The rows that the pages show, by the words of `PAGES`."""

    rows: dict[str, int]

    def path(self, page: str) -> str:
        """The address of a page."""
        _role, name, row = PAGES[page]
        asked = {"find": "?q=brannock", "sell parts": f"?item={self.rows['fluid']}"}.get(page, "")
        return reverse(name, args=[self.rows[row]] if row else []) + asked


def fill(garage: Garage) -> Shown:
    """A car at every stage, and a paper of every kind."""
    at = {
        stage: visit(garage, name, plate, until=stage)
        for stage, name, plate in (
            (stages.WRITTEN_UP, LONG_NAME, "KET-101"),
            (stages.AWAITING, "Odile Marrant", "KET-102"),
            (stages.READY, "Piet Vandersloot", "KET-103"),
            (stages.IN_BAY, "Rosalind Achterberg", "KET-104"),
            (stages.FINISHED, "Ines Halloran", "KET-105"),
            (stages.INVOICED, "Bo Lindqvist", "KET-106"),
            (stages.CLOSED, "Hester Okafor", "KET-107"),
        )
    }
    closed = at[stages.CLOSED]
    assert closed.vehicle.owner_id is not None
    return Shown(
        {
            "written up": at[stages.WRITTEN_UP].job.pk,
            "operation": _last_operation(at[stages.WRITTEN_UP]),
            "awaiting": at[stages.AWAITING].job.pk,
            "in the bay": at[stages.IN_BAY].job.pk,
            "finished": at[stages.FINISHED].job.pk,
            "closed": closed.job.pk,
            "estimate": _paper(at[stages.AWAITING].estimate),
            "invoice owed": _paper(at[stages.INVOICED].invoice),
            "invoice paid": _paper(closed.invoice),
            "customer": closed.vehicle.owner_id,
            "vehicle": closed.vehicle.pk,
            "procedure": garage.procedure.pk,
            "fluid": garage.fluid.pk,
            "person": garage.technician.pk,
        }
    )


def _paper(paper: Estimate | Invoice | None) -> int:
    assert paper is not None
    return paper.pk


def _last_operation(came: Visit) -> int:
    operation = came.job.operations.last()
    assert operation is not None
    return operation.pk
