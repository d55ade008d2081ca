"""Files and papers: photos, documents made by the worker, and mail waiting to be sent."""

import uuid

from django.db import models
from django.db.models import Q


def stored_path(stored: "StoredFile", filename: str) -> str:
    """A path from a random name: what the user called the file never touches the disk."""
    name = uuid.uuid4().hex
    return f"{stored.kind}/{name[:2]}/{name}"


class StoredFile(models.Model):
    """A file kept beside the database, with the hash it had when it was stored."""

    class Kind(models.TextChoices):
        PHOTO = "photo", "photo"
        DOCUMENT = "document", "document"
        MESSAGE = "message", "message as sent"
        LOGO = "logo", "logo"

    kind = models.CharField(max_length=10, choices=Kind)
    name = models.CharField(max_length=200)
    content_type = models.CharField(max_length=60)
    size = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64, db_index=True)
    file = models.FileField(upload_to=stored_path, max_length=200)
    created = models.DateTimeField()
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")
    erased_at = models.DateTimeField(null=True, blank=True, help_text="since then only its hash is kept")

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(size__gt=0), name="stored_file_not_empty")]

    def __str__(self) -> str:
        return self.name


class Document(models.Model):
    """The wish for a PDF, and the PDF once the worker has made it.

    `kind` and `source` name what is printed (registered in `documents.py`), `version` counts what changed:
    one row for each version, made at most once and then kept.
    """

    class State(models.TextChoices):
        LATER = "later", "made when asked for"
        WANTED = "wanted", "being made"
        MADE = "made", "ready"
        FAILED = "failed", "could not be made"
        ERASED = "erased", "erased after the record years"

    kind = models.CharField(max_length=30)
    source = models.BigIntegerField()
    version = models.PositiveIntegerField(default=1)
    name = models.CharField(max_length=120, help_text="file name for the customer, such as Invoice 2026-0412.pdf")
    state = models.CharField(max_length=8, choices=State, default=State.WANTED)
    stored = models.ForeignKey(StoredFile, models.PROTECT, null=True, blank=True, related_name="+")
    sha256 = models.CharField(max_length=64, blank=True)
    problem = models.TextField(blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    lease_until = models.DateTimeField(null=True, blank=True)
    wanted_at = models.DateTimeField()
    made_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["kind", "source", "version"], name="document_made_once"),
            models.CheckConstraint(
                condition=~Q(state__in=["made", "erased"]) | (Q(stored__isnull=False) & ~Q(sha256="")),
                name="made_document_is_stored",
            ),
        ]
        indexes = [models.Index(fields=["state", "id"], name="documents_to_make")]

    def __str__(self) -> str:
        return self.name


class OutgoingMail(models.Model):
    """One message of the transactional outbox; see `mail.py` for how it is sent exactly once or held for a person."""

    class State(models.TextChoices):
        QUEUED = "queued", "waiting to be sent"
        SENDING = "sending", "being sent"
        HANDED = "handed", "handed to the mail server"
        SENT = "sent", "sent"
        FAILED = "failed", "not sent"
        UNCERTAIN = "uncertain", "perhaps sent"

    purpose = models.CharField(max_length=30)
    source = models.BigIntegerField()
    version = models.PositiveIntegerField(default=1)
    to = models.EmailField()
    to_name = models.CharField(max_length=120, blank=True)
    reply_to = models.EmailField(blank=True)
    subject = models.CharField(max_length=200)
    text = models.TextField()
    attachments = models.ManyToManyField(Document, related_name="mails", blank=True)
    message_id = models.CharField(max_length=120, unique=True)
    state = models.CharField(max_length=10, choices=State, default=State.QUEUED)
    attempts = models.PositiveSmallIntegerField(default=0)
    next_try = models.DateTimeField()
    lease_until = models.DateTimeField(null=True, blank=True)
    problem = models.TextField(blank=True)
    as_sent = models.ForeignKey(StoredFile, models.PROTECT, null=True, blank=True, related_name="+")
    queued_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)
    erased_at = models.DateTimeField(null=True, blank=True, help_text="since then nobody is named in it")
    by = models.ForeignKey("garage.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["purpose", "source", "version"], name="mail_sent_once"),
            models.CheckConstraint(condition=~Q(state="sent") | Q(sent_at__isnull=False), name="sent_mail_has_time"),
        ]
        indexes = [models.Index(fields=["state", "next_try"], name="mail_to_send")]

    def __str__(self) -> str:
        return f"{self.subject} to {self.to}" if self.erased_at is None else "erased mail"
