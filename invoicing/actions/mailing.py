"""Putting a paper into the outbox, once for each address."""

import datetime as dt
from collections.abc import Sequence

from garage import audit, shop
from garage.clock import fixed
from garage.mail import enqueue
from garage.models import Document, OutgoingMail, User
from invoicing import letters, queries
from invoicing.models import Estimate, Invoice, Payment


def send(
    purpose: str,
    row: Estimate | Invoice | Payment,
    to: str,
    letter: tuple[str, str],
    papers: Sequence[Document],
    actor: User | None,
    now: dt.datetime,
    *,
    name: str,
) -> OutgoingMail:
    """Mail frozen papers with their PDFs; the same address again gives the mail that is there.

    `letter` is its subject and text, `name` whom it is for. Part of a verb, inside its transaction. Raises Refused
    for an address that cannot be written to.
    """
    to = letters.checked_address(to)
    sent = queries.mails_of(purpose, row.pk)
    known = sent.filter(to=to).first()
    if known is not None:
        return known
    subject, text = letter
    mail = enqueue(
        purpose=purpose,
        source=row.pk,
        version=sent.count() + 1,
        to=to,
        to_name=name,
        subject=subject,
        text=text,
        attachments=list(papers),
        reply_to=shop.profile().email,
        actor=actor,
        clock=fixed(now),
    )
    audit.record("mailed", row, actor=actor, now=now, mail=mail.pk)
    return mail
