"""The addresses of the papers; the front page and the books' front stand in `places.py`."""

from django.urls import path

from invoicing.views import accounts, authorize, books, estimates, invoices, payments, sale, taxes, unbilled

app_name = "invoicing"
urlpatterns = [
    path("counter/sell/", sale.sale, name="sale"),
    path("jobs/<int:pk>/estimate/", estimates.estimate_write, name="estimate-write"),
    path("jobs/<int:pk>/estimate/revise/", estimates.estimate_revise, name="estimate-revise"),
    path("jobs/<int:pk>/estimate/draft/", estimates.estimate_draft, name="estimate-draft"),
    path("jobs/<int:pk>/authorize/", authorize.authorize, name="authorize"),
    path("jobs/<int:pk>/authorize/amounts/", authorize.authorize_amounts, name="authorize-amounts"),
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
    path("invoices/<int:pk>/refund/", payments.invoice_refund, name="invoice-refund"),
    path("invoices/<int:pk>/apply-credit/", payments.credit_apply, name="credit-apply"),
    path("invoices/<int:pk>/take-off/", payments.payment_take_off, name="payment-take-off"),
    path("jobs/<int:pk>/deposit/", payments.deposit_add, name="deposit-add"),
    path("jobs/<int:pk>/deposit/refund/", payments.deposit_refund, name="deposit-refund"),
    path("jobs/<int:pk>/deposit/keep/", payments.deposit_keep, name="deposit-keep"),
    path("customers/<int:pk>/account/", accounts.account, name="account"),
    path("customers/<int:pk>/account/pay/", payments.account_pay, name="account-pay"),
    path("customers/<int:pk>/account/refund/", payments.account_refund, name="account-refund"),
    path("payments/<int:pk>/", payments.payment, name="payment"),
    path("payments/<int:pk>/reverse/", payments.payment_reverse, name="payment-reverse"),
    path("payments/<int:pk>/mail/", payments.receipt_mail, name="receipt-mail"),
    path("books/invoices/", books.invoices, name="invoices"),
    path("books/payments/", payments.payments, name="payments"),
    path("books/taxes/", taxes.taxes, name="taxes"),
    path("books/taxes/new/", taxes.tax_add, name="tax-add"),
    path("books/taxes/<int:pk>/end/", taxes.tax_end, name="tax-end"),
    path("books/taxes/<int:pk>/rename/", taxes.tax_rename, name="tax-rename"),
    path("books/taxes/rates/<int:pk>/withdraw/", taxes.rate_withdraw, name="rate-withdraw"),
]
