"""The gates of the books: each gives the row, or 404; views never fetch by themselves."""

from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from invoicing import queries
from invoicing.models import Estimate, Invoice, Payment, Tax, TaxRate


def estimate_for(request: HttpRequest, pk: int) -> Estimate:
    """An estimate with its operations and lines."""
    return get_object_or_404(queries.estimates(), pk=pk)


def invoice_for(request: HttpRequest, pk: int) -> Invoice:
    """An invoice or credit note with everything printed on it."""
    return get_object_or_404(queries.whole_invoices(), pk=pk)


def payment_for(request: HttpRequest, pk: int) -> Payment:
    """A payment with the invoices it went to."""
    return get_object_or_404(queries.payments(), pk=pk)


def tax_for(request: HttpRequest, pk: int) -> Tax:
    """A tax with its rates."""
    return get_object_or_404(Tax.objects.prefetch_related("rates"), pk=pk)


def rate_for(request: HttpRequest, pk: int) -> TaxRate:
    """A tax rate."""
    return get_object_or_404(TaxRate.objects.select_related("tax"), pk=pk)
