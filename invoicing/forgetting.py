"""What the books hold of a customer: the papers with the names on them, payments, and what keeps them from going."""

from collections.abc import Collection, Iterator

from django.db.models import Model, Q, QuerySet

from garage.forgetting import Held, register
from garage.models import Customer, SideRow
from garage.money import spoken
from invoicing import accounts
from invoicing.actions.issuing import make_findable
from invoicing.models import (
    Allocation,
    Authorization,
    AuthorizationOperation,
    Estimate,
    EstimateLine,
    EstimateOperation,
    Invoice,
    InvoiceLine,
    InvoiceOperation,
    Payment,
)


def register_all() -> None:
    """Let the kernel ask here."""
    register(held, objections, find_anew)


def held(customers: Collection[int]) -> Held:
    """Side rows beside the papers and payments of some customers, and the papers themselves."""
    invoices = Invoice.objects.filter(customer__in=customers)
    estimates = Estimate.objects.filter(job__customer__in=customers)
    given = Authorization.objects.filter(job__customer__in=customers)
    payments = Payment.objects.filter(customer__in=customers)
    moved = Allocation.objects.filter(customer__in=customers)
    beside: list[QuerySet[Model]] = [
        invoices, estimates, given, payments,
        InvoiceOperation.objects.filter(invoice__in=invoices),
        InvoiceLine.objects.filter(invoice_operation__invoice__in=invoices),
        EstimateOperation.objects.filter(estimate__in=estimates),
        EstimateLine.objects.filter(estimate_operation__estimate__in=estimates),
        AuthorizationOperation.objects.filter(authorization__in=given),
    ]  # fmt: skip
    wanted = Q(pk__in=[])
    for rows in beside:
        wanted |= Q(pk__in=rows.order_by().values("side"))
    for papers in (invoices, estimates, given):
        wanted |= Q(pk__in=papers.order_by().values("person"))
    return Held(
        side_rows=SideRow.objects.filter(wanted),
        papers={"invoice": _keys(invoices), "estimate": _keys(estimates), "receipt": _keys(payments)},
        records={
            "invoicing.invoice": _keys(invoices),
            "invoicing.estimate": _keys(estimates),
            "invoicing.authorization": _keys(given),
            "invoicing.payment": _keys(payments),
            "invoicing.allocation": _keys(moved),
        },
    )


def _keys(rows: "QuerySet[Invoice] | QuerySet[Estimate] | QuerySet[Authorization] | QuerySet[Payment] | "
          "QuerySet[Allocation]") -> list[int]:  # fmt: skip
    return list(rows.order_by().values_list("pk", flat=True))


def objections(customer: Customer) -> Iterator[str]:
    """Money that is owed, overpaid or held keeps a customer in the book."""
    owed, credit = accounts.owed_in_all(customer), accounts.credit_of(customer)
    if owed:
        yield f"{spoken(owed)} is owed on invoices: settle them first."
    if credit:
        yield f"{spoken(credit)} is on the account: refund it or apply it first."
    for job, deposit in accounts.deposits(customer):
        yield f"A deposit of {spoken(deposit)} stands on {job}: refund it first."


def find_anew(customers: Collection[int]) -> None:
    """Let the papers be found by their numbers alone."""
    for invoice in Invoice.objects.filter(customer__in=customers).select_related("customer", "job", "side"):
        make_findable(invoice)
