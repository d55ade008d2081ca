"""What the books promise about money: every cent of a payment stands somewhere, and nothing is used twice."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from decimal import Decimal

from django.db.models import Count, F, Prefetch, Sum
from django.db.models.functions import Coalesce

from garage import ledger, promises
from garage.groups import joined
from garage.models import AuditEntry
from invoicing import freezing, queries
from invoicing.models import Allocation, Invoice, InvoiceOperation, Payment, PaymentPart, Receivable

ZERO = Decimal("0.00")
CHUNK = 2000


def register() -> None:
    """Tell `books_check` every promise of the money."""
    promises.register("payments equal their sealed parts, and go to their own customer's invoices", payments_add_up)
    promises.register("money that was moved comes to zero, and is what was sealed", moves_add_up)
    promises.register("nothing is applied or refunded beyond what is there", nothing_beyond)
    promises.register("final invoices take advance invoices off, once", advances_taken_off)
    promises.register("a walk-in sale is paid at once and leaves nothing on an account", walk_ins_are_paid)
    promises.register("the chain of payments is whole", lambda: ledger.breaks(Payment))
    promises.register("the chain of money that was moved is whole", lambda: ledger.breaks(Allocation))


def parts_in_order() -> Prefetch:
    """The parts of acts with money in the order in which they are sealed."""
    return Prefetch("parts", PaymentPart.objects.order_by("pk"))


def payments_add_up() -> Iterator[str]:
    """Every payment equals the sum of its parts, which are those it was sealed with, to its own customer's places."""
    payments = Payment.objects.select_related("person").prefetch_related(parts_in_order()).order_by("pk")
    for payment in payments.iterator(chunk_size=CHUNK):
        if not payment.person.matches(payment.person_seal):
            yield f"payment {payment.pk} of {payment.amount}: the customer's name or address was changed behind it"
        if freezing.parts_seal(payment.parts.all()) != payment.content_sha256:
            yield f"payment {payment.pk} of {payment.amount}: its parts are not those that were sealed"
    for row in Payment.objects.annotate(parted=Sum("parts__amount")).exclude(parted=F("amount")):
        yield f"payment {row.pk} of {row.amount}: its parts come to {row.parted}"
    for payment in Payment.objects.filter(parts__isnull=True):
        yield f"payment {payment.pk} of {payment.amount} goes nowhere"
    yield from _parts_astray()
    for payment in Payment.objects.filter(reverses__isnull=False).select_related("reverses"):
        if payment.reverses is not None and payment.amount != -payment.reverses.amount:
            yield f"payment {payment.pk} reverses {payment.amount}, {payment.reverses.amount} was received"


def _ever_one_customer() -> Mapping[int, int]:
    """Customers who were merged at some time, each with the key of their group."""
    merges = AuditEntry.objects.filter(verb="merged", record__startswith="garage.customer:")
    return joined((int(entry.record.rpartition(":")[2]), int(entry.details["into"])) for entry in merges)


def _parts_astray() -> Iterator[str]:
    """Money that went to another customer's place, unless the two were one customer in the book at some time."""
    one = _ever_one_customer()
    whose = PaymentPart.objects.annotate(giver=Coalesce("payment__customer", "allocation__customer"))
    wrong = whose.exclude(giver=F("customer"), invoice=None) & whose.exclude(
        giver=F("customer"), invoice__customer=F("customer")
    )
    for key, *names in wrong.values_list("pk", "giver", "customer", Coalesce("invoice__customer", "customer")):
        if len({one.get(name, name) for name in names}) > 1:
            yield f"payment part {key}: it goes to an invoice or account of another customer"


def advances_taken_off() -> Iterator[str]:
    """A final invoice takes off the net of an advance invoice to the cent, and no two that stand take off the same."""
    seen: set[int] = set()
    rows = InvoiceOperation.objects.filter(advance__isnull=False, invoice__kind=Invoice.Kind.INVOICE)
    rows = rows.select_related("advance", "invoice").order_by("pk")
    for row in rows:
        if row.advance is None or queries.taken_back(row.invoice):
            continue
        if row.net != -row.advance.net:
            yield f"{row.invoice}: takes {row.net} off for {row.advance}, which is {row.advance.net}"
        if row.advance.pk in seen:
            yield f"{row.invoice}: takes {row.advance} off, which another invoice takes off too"
        seen.add(row.advance.pk)


def walk_ins_are_paid() -> Iterator[str]:
    """Whoever bought without a name owes nothing, unless the payment was reversed, and has no credit."""
    owed = Receivable.objects.filter(customer__walk_in=True, balance__gt=0)
    reversed_on = PaymentPart.objects.filter(payment__reverses__isnull=False).values("invoice")
    for row in owed.exclude(invoice__in=reversed_on.exclude(invoice=None)).select_related("invoice"):
        yield f"{row.invoice}: a walk-in sale on which {row.balance} is owed"
    there = ZERO
    on_account = PaymentPart.objects.filter(customer__walk_in=True, invoice=None, job=None)
    for key, amount in on_account.order_by("pk").values_list("pk", "amount"):
        there += amount
        if amount > 0 and there > 0:
            yield f"payment part {key}: {there} stands on an account for walk-in sales"


def moves_add_up() -> Iterator[str]:
    """Each act that moves money takes from one place what it puts to another, payment by payment, as sealed."""
    acts = Allocation.objects.prefetch_related(parts_in_order()).order_by("pk")
    for act in acts.iterator(chunk_size=CHUNK):
        rows = list(act.parts.all())
        if freezing.parts_seal(rows) != act.content_sha256:
            yield f"money moved {act.pk}: its parts are not those that were sealed"
        sums: dict[int | None, Decimal] = defaultdict(lambda: ZERO)
        for row in rows:
            sums[row.of_id] += row.amount
        if any(sums.values()) or sum(max(row.amount, ZERO) for row in rows) != act.amount:
            yield f"money moved {act.pk}: {act.amount} is moved, its parts do not come to that"


def nothing_beyond() -> Iterator[str]:
    """In the order of the acts, no place gives more of a payment than of it stands there; only a bank may take more."""
    one = _ever_one_customer()
    there: dict[tuple[int | None, ...], Decimal] = defaultdict(lambda: ZERO)
    rows = PaymentPart.objects.annotate(reversal=Count("payment__reverses")).order_by("pk")
    for part in rows.iterator(chunk_size=CHUNK):
        customer = one.get(part.customer_id, part.customer_id)
        place = (customer, part.invoice_id, part.job_id, part.of_id or part.payment_id)
        there[place] += part.amount
        if part.amount < 0 and there[place] < 0 and not part.reversal:
            yield f"payment part {part.pk}: it takes {-part.amount}, {there[place] - part.amount} was there"
