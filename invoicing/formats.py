"""What is hashed of the books' sealed rows, column by column; see garage/formats.py for how a list grows.

Rows of an estimate, an invoice, an authorization, a payment and an allocation are hashed without their parent's key:
the parent's seal holds them, and is worked out before it has a key.
"""

from garage.formats import CHAIN

ROW = "sealed_format side_id side_seal"
_PAPER = "person_id person_seal vehicle_text currency labor_net parts_net other_net net tax gross"
_LINE = (
    "position kind finer description condition quantity unit typed unit_price discount tax_class net "
    "line_id item_id base_quantity under if_needed fitted"
)

ESTIMATE = (
    f"{ROW} {_PAPER} job_id revision job_version shop odometer_text parts_wish written_at written_by_id valid_until "
    "promised_at changes taxes rates limit_with_tax consent_seq",
)
ESTIMATE_OPERATION = (f"{ROW} operation_id position title counted net gross",)
ESTIMATE_LINE = (f"{ROW} {_LINE}",)

AUTHORIZATION = (
    f"{CHAIN} job_id estimate_id estimate_seal slack person_id person_seal capacity channel at zone recorded_at "
    "taken_by_id limit limit_gross added text content_sha256",
)
AUTHORIZATION_OPERATION = (f"{ROW} estimate_operation_id decision net tax",)

INVOICE = (
    f"{CHAIN} {_PAPER} kind series number label job_id customer_id corrects_id shop odometer_in odometer_out issued_at "
    "issued_on due_on issued_by_id consent consent_seq content_sha256",
)
INVOICE_OPERATION = (f"{ROW} operation_id advance_id position title net",)
INVOICE_LINE = (f"{ROW} {_LINE} credits_id cost",)
INVOICE_TAX = (f"{ROW} of_tax_id advance_id tax_classes treatment reason label rate base tax",)

PAYMENT = (
    f"{CHAIN} customer_id person_id person_seal method amount currency reverses_id paid_on at by_id papers_seq "
    "content_sha256",
)
ALLOCATION = (f"{CHAIN} customer_id amount at by_id content_sha256",)
PAYMENT_PART = (f"{ROW} of_id customer_id invoice_id job_id amount",)
