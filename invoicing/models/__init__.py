"""The papers' tables: taxes, estimates, authorizations, invoices and credit notes, payments."""

from invoicing.models.authorization import Authorization, AuthorizationOperation
from invoicing.models.estimate import Estimate, EstimateLine, EstimateOperation
from invoicing.models.invoice import Invoice, InvoiceLine, InvoiceOperation, InvoiceTax, Receivable
from invoicing.models.payment import Allocation, Payment, PaymentPart
from invoicing.models.tax import Tax, TaxRate, Treatment

__all__ = [
    "Allocation",
    "Authorization",
    "AuthorizationOperation",
    "Estimate",
    "EstimateLine",
    "EstimateOperation",
    "Invoice",
    "InvoiceLine",
    "InvoiceOperation",
    "InvoiceTax",
    "Payment",
    "PaymentPart",
    "Receivable",
    "Tax",
    "TaxRate",
    "Treatment",
]
