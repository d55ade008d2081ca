"""Forgetting a customer who asks for it: what may go goes at once, what the record years keep goes later."""

from garage import audit, forgetting, search
from garage.actions import vehicles
from garage.actions.erasing import erase_file, erase_mail, erase_side_rows
from garage.clock import Clock, fixed
from garage.errors import Refused
from garage.models import Customer, StoredFile, User
from garage.writing import writing

ERASED = "erased"


@writing()
def forget_customer(*, customer: Customer, actor: User | None, clock: Clock) -> Customer:
    """Erase a customer: name, address, numbers and notes at once, photos too; papers and mail after the record years.

    What is younger stays and can be erased by the same act later. Sealed rows, sums and the car's own history stay.
    Raises Refused while something is open with them: a job, money owed or held, a message that waits to be sent.
    """
    now = clock()
    row = Customer.objects.get(pk=customer.pk).today
    for sentence in forgetting.objections_to(row):
        raise Refused(sentence)
    held, over = forgetting.Belongings(row), forgetting.over_at(now)
    for mail in held.mails().filter(queued_at__lte=over):
        erase_mail(mail=mail, actor=actor, clock=fixed(now))
    for stored in held.files():
        if stored.kind == StoredFile.Kind.PHOTO or stored.created <= over:
            erase_file(stored=stored, actor=actor, clock=fixed(now))
    erase_side_rows(rows=list(held.side_rows.filter(written_at__lte=over)), actor=actor, clock=fixed(now))
    for one in row.same():
        _empty(one)
    row.refresh_from_db()
    if row.erased_at is None:
        Customer.objects.filter(pk__in=held.keys).update(erased_at=now)
        row.erased_at = now
    audit.record("erased customer", row, actor=actor, now=now)
    search.drop("customer", row)
    for car in row.vehicles.select_related("owner"):
        vehicles.make_findable(car)
    forgetting.find_anew(held.keys)
    return row


def _empty(row: Customer) -> None:
    """Take out of the row everything that says who it was."""
    for several in (row.phones, row.emails, row.designated):
        several.all().delete()
    row.name, row.tax_exempt, row.exemption_until = ERASED, False, None
    for name in ("contact", "address", "notes", "exemption_certificate", "tax_number"):
        setattr(row, name, "")
    row.version += 1
    row.save()
