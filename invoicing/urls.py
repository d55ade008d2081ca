"""The addresses of the papers; the front page and the books' front stand in `places.py`."""

from django.urls import path

from invoicing.views import authorize, books, estimates, invoices, payments, taxes, unbilled

app_name = "invoicing"
urlpatterns = [
    path("jobs/<int:pk>/estimate/", estimates.estimate_write, name="estimate-write"),
    path("jobs/<int:pk>/estimate/revise/", estimates.estimate_revise, name="estimate-revise"),
    path("jobs/<int:pk>/estimate/draft/", estimates.estimate_draft, name="estimate-draft"),
    path("jobs/<int:pk>/authorize/", authorize.authorize, name="authorize"),
    path("jobs/<int:pk>/invoice/", invoices.invoice_make, name="invoice-make"),
    path("jobs/<int:pk>/invoice/draft/", invoices.invoice_draft, name="invoice-draft"),
    path("jobs/<int:pk>/left-out/bill/", unbilled.left_out, name="bill-left-out"),
    path("jobs/<int:pk>/left-out/leave/", unbilled.leave, name="leave-it"),
    path("operations/<int:pk>/skipped/", unbilled.skipped, name="skipped"),
    path("estimates/<int:pk>/", estimates.estimate, name="estimate"),
    path("estimates/<int:pk>/mail/", estimates.estimate_mail, name="estimate-mail"),
    path("invoices/<int:pk>/", invoices.invoice, name="invoice"),
    path("invoices/<int:pk>/mail/", invoices.invoice_mail, name="invoice-mail"),
    path("invoices/<int:pk>/credit/", invoices.credit, name="credit"),
    path("invoices/<int:pk>/pay/", payments.payment_add, name="payment-add"),
    path("invoices/<int:pk>/give-back/", payments.payment_back, name="payment-back"),
    path("payments/<int:pk>/reverse/", payments.payment_reverse, name="payment-reverse"),
    path("books/invoices/", books.invoices, name="invoices"),
    path("books/payments/", payments.payments, name="payments"),
    path("books/taxes/", taxes.taxes, name="taxes"),
    path("books/taxes/new/", taxes.tax_add, name="tax-add"),
    path("books/taxes/<int:pk>/end/", taxes.tax_end, name="tax-end"),
]
